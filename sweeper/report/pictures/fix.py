"""Did the fix work? The change of noise on each band with its interval, and night by night."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from sweeper.analysis import BandComparison, Comparison, Interval, listed
from sweeper.report import wording
from sweeper.report.pictures.picture import Numbers, Picture
from sweeper.report.svg import NARROW, colour, drawing, inline, sheet


def fix(comparison: Comparison, zone: str) -> tuple[Picture, ...]:
    """One picture of all bands that could be compared."""
    everything = (*comparison.bands, *((comparison.all_bands,) if comparison.all_bands else ()))
    bands = [band for band in everything if band.change_db is not None]
    if not bands:
        return ()
    title = _title(comparison, zone)
    with drawing():
        figure = sheet(NARROW, 1.0 + 0.42 * len(bands))
        axes = figure.subplots()
        axes.axvline(0, color=colour("soft"), linewidth=1)
        for row, band in enumerate(bands):
            change = band.change_db
            if change is None:
                continue
            ink = {"quieter": "in", "noisier": "out"}.get(band.verdict, "ink")
            axes.plot([change.low, change.high], [row, row], color=colour(ink), linewidth=3, alpha=0.6)
            axes.plot([change.value], [row], marker="o", color=colour(ink), markersize=7)
            hours = [period.change_db.value for period in band.periods if period.change_db is not None]
            axes.plot(hours, [row + 0.24] * len(hours), "|", color=colour("soft"), markersize=5)
        axes.set_yticks(range(len(bands)), [band.band for band in bands])
        axes.set_ylim(len(bands) - 0.5, -0.5)
        axes.tick_params(axis="y", length=0)
        axes.grid(axis="x")
        axes.set_xlabel("change of noise after the fix, dB (left: quieter)")
        svg = inline(figure, "fix", title, " ".join(f"{band.band}: {band.reason}" for band in everything))
    caption = "Dots: the change over matching hours, with its interval; ticks below: single hours."
    numbers = Numbers(
        ("Band", "Change, dB", "low", "high", "Nights before", "after", "Verdict", "Why"),
        tuple(
            (
                band.band,
                wording.decibel(band.change_db.value if band.change_db else None, True),
                wording.decibel(band.change_db.low if band.change_db else None, True),
                wording.decibel(band.change_db.high if band.change_db else None, True),
                str(band.nights_before),
                str(band.nights_after),
                wording.FIX_WORDS[band.verdict],
                band.reason,
            )
            for band in everything
        ),
    )
    return (Picture("fix", title, svg, caption, numbers), *_nights(comparison, bands))


def _nights(comparison: Comparison, bands: Sequence[BandComparison]) -> tuple[Picture, ...]:
    """Night by night: the noise of each band before and after, with the change and its interval as a step."""
    shown = [band for band in bands if band.nights]
    if not shown:
        return ()
    first = min(night.night for band in shown for night in band.nights)
    last = max(night.night for band in shown for night in band.nights)
    title = f"Night by night, noise {_steps(shown)}"
    with drawing():
        figure = sheet(8.6, 0.7 + 1.25 * len(shown))
        panels = figure.subplots(len(shown), 1, sharex=True, squeeze=False)
        for axes, band in zip(panels.flat, shown, strict=True):
            before = [night for night in band.nights if not night.after]
            after = [night for night in band.nights if night.after]
            for nights, mark, ink in ((before, "o", "ink"), (after, "D", "in")):
                places = [(night.night - first).days for night in nights]
                levels = [night.level_db for night in nights]
                axes.plot(
                    places, levels, mark, color=colour(ink), markersize=4.5, linestyle="none", clip_on=False
                )
            axes.margins(y=0.12)
            axes.axhline(0, color=colour("soft"), linewidth=0.9, linestyle=(0, (5, 3)))
            if after and band.change_db is not None:
                ends = [(after[0].night - first).days - 0.5, (after[-1].night - first).days + 0.5]
                change = band.change_db
                axes.fill_between(ends, change.low, change.high, color=colour("in"), alpha=0.2, linewidth=0)
                axes.plot(ends, [change.value] * 2, color=colour("in"), linewidth=1.5)
                axes.axvline(ends[0], color=colour("mark"), linewidth=1.2)
            axes.set_title(band.band, loc="left", fontsize=10, fontweight="bold", pad=3)
            axes.grid(axis="y")
        span = (last - first).days + 1
        marks = list(range(0, span, max(1, span // 8)))
        days = [first + timedelta(days=mark) for mark in marks]
        panels[-1, 0].set_xticks(marks, [f"{day.day} {day:%b}" for day in days])
        panels[-1, 0].set_xlabel("night, by the day that it began on")
        figure.supylabel("noise over the mean before the fix, dB", fontsize=11, x=-0.015)
        figure.tight_layout(pad=0.3, h_pad=0.5)
        svg = inline(figure, "fix-nights", title, title)
    rows = tuple(
        (
            band.band,
            night.night.isoformat(),
            "after" if night.after else "before",
            wording.decibel(night.level_db, True),
        )
        for band in shown
        for night in band.nights
    )
    caption = (
        "Circles: nights before; diamonds: nights after; the shaded step is the change with its interval."
    )
    return (
        Picture("fix-nights", title, svg, caption, Numbers(("Band", "Night of", "Side", "Noise, dB"), rows)),
    )


def _steps(bands: Sequence[BandComparison]) -> str:
    parts = []
    for band in bands:
        change = band.change_db
        if change is not None:
            parts.append(f"{_moved(change)} on {band.band}")
    return "; ".join(parts)


def _moved(change: Interval) -> str:
    """``fell by 3.2 dB (0.4 to 6.1)``; with its signs where it may be neither a fall nor a rise."""
    if change.low <= 0 <= change.high:
        return f"changed by {wording.interval(change)} dB"
    size = Interval(abs(change.value), *sorted((abs(change.low), abs(change.high))))
    return f"{'fell' if change.value < 0 else 'rose'} by {wording.size(size)}"


def fix_lines(comparison: Comparison, zone: str) -> tuple[str, ...]:
    """When the fix was, what the sky did meanwhile, and changes that were found without being told."""
    lines = []
    if comparison.changes and comparison.fix is not None:
        lines.append(
            "No date was given, so the clearest change that was found stands for it: about "
            f"{_day(comparison.fix, zone)}, which may be some nights off. A change picked because it stands out looks "
            "larger and surer than it is, and the intervals do not allow for that; with the date of the fix given they "
            "do hold."
        )
    elif comparison.fix is not None:
        lines.append(f"Before and after {wording.local_time(comparison.fix, zone)}.")
    if comparison.left_out is not None:
        lines.append(
            f"The night of {wording.day(comparison.left_out)}, in which the fix was made, belongs to neither side and "
            "is left out."
        )
    if comparison.all_bands is not None:
        lines.append(comparison.all_bands.reason)
    if comparison.sky:
        lines.append(comparison.sky)
    for change in comparison.changes:
        text = (
            f"From about the night of {wording.day(change.night)} on, noise {_moved(change.change_db)}"
            + (f", clearly on {listed(change.bands)}" if change.bands else "")
            + f"; nights without any change would show one as clear in {change.chance:.1%} of cases."
        )
        lines.append(f"{text} Noted then: {'; '.join(change.notes)}." if change.notes else text)
    if not lines:
        lines.append(
            "No clear change of noise in these nights. If you changed something, say when: "
            "`sweeper compare STATION --fix 2026-11-08T12:00Z`."
        )
    return tuple(lines)


def _day(moment: datetime, zone: str) -> str:
    return wording.day(moment.astimezone(ZoneInfo(zone)).date())


def _title(comparison: Comparison, zone: str) -> str:
    quieter = [band.band for band in comparison.bands if band.verdict == "quieter"]
    noisier = [band.band for band in comparison.bands if band.verdict == "noisier"]
    parts = [f"quieter on {listed(quieter)}"] if quieter else []
    parts += [f"noisier on {listed(noisier)}"] if noisier else []
    if parts and comparison.changes and comparison.fix is not None:
        return f"Since about {_day(comparison.fix, zone)} it is {' and '.join(parts)}"
    if parts:
        return f"After the fix it is {' and '.join(parts)}"
    if all(band.verdict == "no change" for band in comparison.bands):
        return "The fix changed nothing that matters"
    return "Not settled yet whether the fix changed anything"

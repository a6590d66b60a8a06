"""What could any stage give at most? S/N change over noise rise: the ceiling, this stage, this station's nights."""

from math import ceil

import polars as pl
from matplotlib.axes import Axes

from sweeper.analysis import Evidence, listed
from sweeper.report import wording
from sweeper.report.pictures.picture import Numbers, Picture
from sweeper.report.svg import colour, drawing, inline, sheet

MOST_POINTS = 160
"""Points drawn for a band; of more, every n-th is drawn."""
CURVE_POINTS = 30
COLUMNS = 3


def ceiling(evidence: Evidence, worthwhile_db: float, unit: str) -> tuple[Picture, ...]:
    """One picture with a panel for each band that has a curve; none without load readings."""
    bands = evidence.curve["band"].unique(maintain_order=True).to_list()
    if not bands:
        return ()
    title = _title(evidence, worthwhile_db)
    alternative = " ".join(_sentence(row, unit) for row in evidence.crossings.iter_rows(named=True))
    with drawing():
        rows = ceil(len(bands) / COLUMNS)
        figure = sheet(8.6, 2.5 * rows + 0.5)
        panels = figure.subplots(rows, COLUMNS, sharex=True, sharey=True, squeeze=False)
        reach = _reach(evidence)
        furthest = max([20.0, *(rise + 1 for rise in evidence.points["noise_rise_db"].drop_nulls())])
        for nth, axes in enumerate(panels.flat):
            if nth < len(bands):
                _panel(axes, evidence, bands[nth], worthwhile_db)
                axes.set_ylim(reach)
                axes.set_xlim(0, furthest)
                axes.tick_params(labelbottom=nth + COLUMNS >= len(bands))
            else:
                axes.set_axis_off()
        figure.supxlabel("noise rise in bypass: antenna over load, dB", fontsize=11)
        figure.supylabel("S/N change, dB", fontsize=11, x=-0.015)
        figure.tight_layout(pad=0.4)
        svg = inline(figure, "ceiling", title, alternative or title)
    caption = (
        "Dotted: the most that any stage, however good, could give at that noise rise. Solid: this stage, with the "
        "interval of its gain. Dots: single hours of single nights measured here, with their intervals. The upright "
        "line is where the stage stops being worth switching, with its interval shaded."
    )
    return (Picture("ceiling", title, svg, caption, _numbers(evidence, unit)),)


def _panel(axes: Axes, evidence: Evidence, band: str, worthwhile_db: float) -> None:
    curve = evidence.curve.filter(evidence.curve["band"] == band).sort("noise_rise_db")
    points = evidence.points.filter(evidence.points["band"] == band)
    points = points.gather_every(max(1, -(-points.height // MOST_POINTS)))
    every = max(1, curve.height // CURVE_POINTS)
    curve = curve.gather_every(every)
    x = curve["noise_rise_db"].to_list()
    for row in evidence.crossings.filter(evidence.crossings["band"] == band).iter_rows(named=True):
        axes.axvspan(
            row["noise_rise_low"], row["noise_rise_high"], color=colour("mark"), alpha=0.15, linewidth=0
        )
        axes.axvline(row["noise_rise_db"], color=colour("mark"), linewidth=1.2)
    axes.axhline(worthwhile_db, color=colour("soft"), linewidth=0.9, linestyle=(0, (5, 3)))
    axes.axhline(0, color=colour("rule"), linewidth=0.9)
    axes.plot(x, curve["ceiling_db"].to_list(), color=colour("soft"), linestyle=":", linewidth=1.6)
    axes.fill_between(
        x, curve["low"].to_list(), curve["high"].to_list(), color=colour("in"), alpha=0.2, linewidth=0
    )
    axes.plot(x, curve["snr_change_db"].to_list(), color=colour("in"), linewidth=1.6)
    known = points.drop_nulls(["low", "high"])
    # One broken line for all intervals keeps the page small.
    axes.plot(
        [x for rise in known["noise_rise_db"] for x in (rise, rise, float("nan"))],
        [y for low, high in zip(known["low"], known["high"], strict=True) for y in (low, high, float("nan"))],
        color=colour("ink"),
        linewidth=0.7,
        alpha=0.35,
    )
    # Dots are the round ends of a line without length, one path for all.
    axes.plot(
        [x for rise in points["noise_rise_db"] for x in (rise, rise, float("nan"))],
        [y for change in points["snr_change_db"] for y in (change, change, float("nan"))],
        color=colour("ink"),
        linewidth=3.2,
        solid_capstyle="round",
    )
    axes.text(
        0.97, 0.95, band, transform=axes.transAxes, ha="right", va="top", fontsize=11, fontweight="bold"
    )


def _reach(evidence: Evidence) -> tuple[float, float]:
    shown = evidence.points["snr_change_db"].drop_nulls()
    low = min([-2.0, *shown.to_list()])
    high = max([7.0, *shown.to_list()])
    return max(low, -12.0) - 0.5, min(high, 14.0) + 0.5


def _title(evidence: Evidence, worthwhile_db: float) -> str:
    rows = list(evidence.crossings.iter_rows(named=True))
    never = _never(evidence, worthwhile_db)
    if not rows:
        settled = len(never) == evidence.curve["band"].n_unique()
        return (
            f"At no noise rise does this stage bring {worthwhile_db:g} dB"
            if settled
            else f"Not settled yet at which noise rise this stage brings {worthwhile_db:g} dB"
        )
    edges = sorted(row["noise_rise_db"] for row in rows)
    span = wording.decibel(edges[0])
    if wording.decibel(edges[-1]) != span:
        span = f"{span} to {wording.decibel(edges[-1])}"
    title = f"The stage brings {worthwhile_db:g} dB or more while the antenna stands less than {span} dB over the load"
    return f"{title}; on {listed(never)} it does so at no noise rise" if never else title


def _never(evidence: Evidence, worthwhile_db: float) -> list[str]:
    """Bands whose curve stays below what is worthwhile everywhere, to the upper end of its interval."""
    found = evidence.curve.partition_by("band", as_dict=True, maintain_order=True)
    return [str(band) for (band,), rows in found.items() if (rows["high"] < worthwhile_db).all()]


def _sentence(row: dict[str, object], unit: str) -> str:
    def three(key: str, low: str, high: str) -> str:
        values = [row[name] for name in (key, low, high)]
        known = [wording.decibel(value if isinstance(value, float) else None) for value in values]
        return f"{known[0]} ({known[1]} to {known[2]})"

    return (
        f"{row['band']}: crossing at a noise rise of {three('noise_rise_db', 'noise_rise_low', 'noise_rise_high')} dB, "
        f"which is a reading of {three('reading', 'reading_low', 'reading_high')} {unit} in bypass."
    )


def _numbers(evidence: Evidence, unit: str) -> Numbers:
    crossing = {row["band"]: row for row in evidence.crossings.iter_rows(named=True)}
    rows = []
    for band in evidence.curve["band"].unique(maintain_order=True).to_list():
        here: pl.DataFrame = evidence.curve.filter(evidence.curve["band"] == band).sort("noise_rise_db")
        found = crossing.get(band)
        edge = [found[key] if found else None for key in _EDGE]
        for at in (1.0, 2.0, 3.0, 4.0, 6.0, 10.0, 20.0):
            near = here.sort((here["noise_rise_db"] - at).abs()).head(1)
            for row in near.iter_rows(named=True):
                rows.append(
                    (
                        band,
                        wording.decibel(row["noise_rise_db"]),
                        wording.decibel(row["snr_change_db"], True),
                        wording.decibel(row["low"], True),
                        wording.decibel(row["high"], True),
                        wording.decibel(row["ceiling_db"], True),
                        *(wording.decibel(value) for value in edge),
                    )
                )
    return Numbers(
        (
            "Band", "Noise rise, dB", "S/N change, dB", "low", "high", "Ceiling, dB",
            "Crossing, dB", "low", "high", f"As a reading, {unit}", "low", "high",
        ),
        tuple(rows),
    )  # fmt: skip


_EDGE = ("noise_rise_db", "noise_rise_low", "noise_rise_high", "reading", "reading_low", "reading_high")

"""What makes the noise: when each source runs, by the hour, and each band's noise in its parts."""

from collections.abc import Sequence
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

from sweeper.noise.told import NoiseTold, Told
from sweeper.report.noise_picture import draw_parts
from sweeper.report.noise_words import PART_WORDS, shown_parts, shown_share, shown_win
from sweeper.report.pictures.multiples import Line, Panel, Scale, multiples
from sweeper.report.pictures.picture import Numbers, Picture
from sweeper.report.svg import NARROW, colour, drawing, inline, sheet

EVERY_HOURS = 6
NOON = 12


def sources(shown: Sequence[Told], told: NoiseTold, zone: str, on: date) -> tuple[Picture, ...]:
    """One of the hours of the sources `shown`, and one of the bands' parts where any band has them."""
    return (_hours(shown, zone, on), *((_parts(told),) if told.splits else ()))


def _hours(shown: Sequence[Told], zone: str, on: date) -> Picture:
    """A panel a source: the share of passes that show it, hour by hour from noon to noon."""
    marks = {}
    for place in range(0, 25, EVERY_HOURS):
        local = (NOON + place) % 24
        utc = datetime(on.year, on.month, on.day, local, tzinfo=ZoneInfo(zone)).astimezone(UTC)
        marks[float(place)] = (f"{local:02d}", f"{utc:%H}")
    panels = []
    for each in shown:
        by_hour = [_known(each.rhythm.by_hour[(NOON + place) % 24]) for place in range(24)]
        values = [value for value in by_hour for _ in range(2)]
        at = [place + end for place in range(24) for end in (0, 1)]
        low = [None if value is None else 0.0 for value in values]
        name = each.source.name
        panels.append(
            Panel(
                name,
                f"{name}: {each.rhythm.briefly}.",
                [Line("ours", values, low, values, [float(x) for x in at])],
            )
        )
    scale = Scale(marks, 24.0, {0.0: "0 %", 0.5: "50 %", 1.0: "100 %"}, 0.0, 1.0)
    rows = tuple(
        (each.source.name, f"{hour:02d}:00", f"{100 * share:.0f}")
        for each in shown
        for hour in (*range(NOON, 24), *range(NOON))
        if (share := _known(each.rhythm.by_hour[hour])) is not None
    )
    return Picture(
        "source-hours",
        "When each of them runs",
        multiples("source-hours", panels, scale),
        "Share of passes that show it, by the hour; nothing is drawn for hours in which nobody listened.",
        Numbers(("Source", f"Hour ({zone})", "Passes that show it, %"), rows),
    )


def _parts(told: NoiseTold) -> Picture:
    """A bar a band: receiver, what signs its name, and the rest."""
    most = [
        (part.share, f"{PART_WORDS[part.name]} on {split.band}, {100 * part.share:.0f} % of its noise")
        for split in told.splits
        for part in split.parts
        if part.name not in ("receiver", "rest")
    ]
    share, where = max(most, default=(0.0, ""))
    title = f"Largest share of what was found: {where}" if share > 0.0 else "How much of it is whose"
    with drawing():
        figure = sheet(NARROW, 1.1 + 0.34 * len(told.splits))
        draw_parts(figure.subplots(), told, colour, 9.0)
        svg = inline(figure, "source-parts", title, f"{title}; the table has every part.")
    rows = tuple(
        (split.band, PART_WORDS[part.name], shown_share(part), shown_win(part))
        for split in told.splits
        for part in shown_parts(split)
    )
    caption = "Averages over all passes. Sky and rest cannot be told apart."
    headings = ("Band", "Part of its noise", "Share", "S/N to win without it, at most, dB")
    return Picture("source-parts", title, svg, caption, Numbers(headings, rows))


def _known(share: float) -> float | None:
    return None if share != share else share

"""Many stations side by side: medians by band and hour, and where on the map it is noisier than its place explains."""

from collections.abc import Mapping, Sequence
from math import ceil

from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from sweeper.analysis import (
    OF_VERDICT,
    STATES,
    BandHour,
    StationCell,
    StationResult,
    atmospheric_noise_known,
    listed,
)
from sweeper.report import wording
from sweeper.report.hours import REACH_DB
from sweeper.report.palette import step_of
from sweeper.report.pictures.picture import Numbers, Picture
from sweeper.report.svg import colour, drawing, inline, sheet

NOISE_REACH_DB = 15.0
"""Decibels over what is expected at the ends of the ramp, on the map."""
COLUMNS = 3


def medians(bands: Sequence[BandHour]) -> tuple[Picture, ...]:
    """S/N change by band and hour, median over stations; the small number is how many stations."""
    if not bands:
        return ()
    names = list(dict.fromkeys(each.band for each in bands))
    hours = sorted({each.hour_utc for each in bands})
    helped = [
        name for name in names if any(each.band == name and (each.snr_change_db or 0) >= 1 for each in bands)
    ]
    title = (
        f"At the median station the stage brings 1 dB or more on {listed(helped)}"
        if helped
        else "At the median station the stage brings less than 1 dB on every band"
    )

    with drawing():
        figure = sheet(1.2 + 0.5 * max(len(hours), 6), 0.8 + 0.5 * len(names))
        axes = figure.subplots()
        for each in bands:
            x, y = hours.index(each.hour_utc), names.index(each.band)
            known = each.snr_change_db
            ink = colour(step_of(known, REACH_DB) if known is not None else "raised")
            axes.add_patch(Rectangle((x - 0.47, y - 0.47), 0.94, 0.94, color=ink, linewidth=0))
            axes.text(x, y - 0.12, wording.decibel(known, True), ha="center", va="center", fontsize=9)
            axes.text(x, y + 0.27, f"n={each.stations}", ha="center", va="center", fontsize=7)
        axes.set_xlim(-0.5, len(hours) - 0.5)
        axes.set_ylim(len(names) - 0.5, -0.5)
        axes.set_xticks(range(len(hours)), [f"{hour:02d}" for hour in hours])
        axes.set_yticks(range(len(names)), names)
        axes.tick_params(length=0)
        axes.set_xlabel("hour beginning, UTC")
        axes.set_ylabel("band")
        for side in ("left", "bottom"):
            axes.spines[side].set_visible(False)
        svg = inline(figure, "medians", title, title)
    rows = tuple(
        (
            each.band,
            f"{each.hour_utc:02d}:00",
            str(each.stations),
            wording.decibel(each.snr_change_db, True),
            wording.decibel(each.above_expected_db, True),
            *(str(each.verdicts.get(verdict, 0)) for verdict in OF_VERDICT),
        )
        for each in bands
    )
    headings = ("Band", "Hour (UTC)", "Stations", "S/N change, dB", "Noise over expected, dB",
                *(STATES[state].words for state in OF_VERDICT.values()))  # fmt: skip
    caption = "The number is the median over stations in dB; n is how many stations measured that hour."
    return (Picture("medians", title, svg, caption, Numbers(headings, rows)),)


def places(stations: Sequence[StationResult], cells: Sequence[StationCell]) -> tuple[Picture, ...]:
    """One small map for each band, at the hour that most stations measured; none without calibrated stations."""
    shown = _best_heard_hours(cells)
    if not shown:
        return ()
    where = {station.name: station for station in stations}
    odd = sorted({cell.station for here in shown.values() for cell in here if cell.outlier})
    title = (
        f"{listed(odd)} {'hears' if len(odd) == 1 else 'hear'} noise unlike the others"
        if odd
        else "No station stands out by its noise"
    )
    with drawing():
        rows = ceil(len(shown) / COLUMNS)
        figure = sheet(8.6, 2.5 * rows + 0.5)
        panels = figure.subplots(rows, COLUMNS, sharex=True, sharey=True, squeeze=False)
        for nth, axes in enumerate(panels.flat):
            if nth < len(shown):
                band = list(shown)[nth]
                _map(axes, band, shown[band], where)
            else:
                axes.set_axis_off()
        figure.supxlabel("degrees east", fontsize=11)
        figure.supylabel("degrees north", fontsize=11, x=-0.015)
        figure.tight_layout(pad=0.4)
        svg = inline(figure, "places", title, title)
    numbers = Numbers(
        (
            "Band",
            "Station",
            "Hour (UTC)",
            "Degrees north",
            "Degrees east",
            "Noise over expected, dB",
            "Stands out",
        ),
        tuple(
            (
                band,
                cell.station,
                f"{cell.hour_utc:02d}:00",
                f"{where[cell.station].latitude:.2f}",
                f"{where[cell.station].longitude:.2f}",
                wording.decibel(cell.above_expected_db, True),
                "yes" if cell.outlier else "no",
            )
            for band, here in shown.items()
            for cell in here
        ),
    )
    parts = "all its noise" if atmospheric_noise_known() else "man-made noise, and the galaxy's, alone"
    caption = (
        "Each mark is a station, by its place; colour and number are how many dB its external noise stands over the "
        f"median that ITU-R P.372 expects there of {parts}. Diamonds stand out from the others."
    )
    return (Picture("places", title, svg, caption, numbers),)


def _best_heard_hours(cells: Sequence[StationCell]) -> dict[str, list[StationCell]]:
    """For each band the cells of the hour that most stations measured; no band without calibrated stations."""
    shown: dict[str, list[StationCell]] = {}
    for band in dict.fromkeys(cell.band for cell in cells):
        known = [cell for cell in cells if cell.band == band and cell.above_expected_db is not None]
        by_hour: dict[int, list[StationCell]] = {}
        for cell in known:
            by_hour.setdefault(cell.hour_utc, []).append(cell)
        if by_hour:
            shown[band] = max(by_hour.values(), key=len)
    return shown


def _map(axes: Axes, band: str, here: Sequence[StationCell], where: Mapping[str, StationResult]) -> None:
    for cell in here:
        station, above = where[cell.station], cell.above_expected_db or 0.0
        axes.plot(
            [station.longitude],
            [station.latitude],
            "D" if cell.outlier else "o",
            markersize=11,
            markerfacecolor=colour(step_of(-above, NOISE_REACH_DB)),
            markeredgecolor=colour("mark" if cell.outlier else "soft"),
        )
        axes.annotate(
            wording.decibel(above, True),
            (station.longitude, station.latitude),
            xytext=(8, 0),
            textcoords="offset points",
            va="center",
            fontsize=8,
        )
    axes.margins(0.25)
    axes.set_title(f"{band}, {here[0].hour_utc:02d} UTC", loc="left", fontsize=10, fontweight="bold", pad=3)

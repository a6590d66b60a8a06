"""What could any stage give at most? S/N change over noise rise: the ceiling, this stage, this station's nights."""

import polars as pl

from sweeper.analysis import Evidence, Interval, listed
from sweeper.report import wording
from sweeper.report.pictures.multiples import Line, Panel, Scale, Strokes, multiples
from sweeper.report.pictures.picture import Numbers, Picture

MOST_POINTS = 160
"""Points drawn for a band; of more, every n-th is drawn."""
CURVE_POINTS = 30


def ceiling(evidence: Evidence, worthwhile_db: float, unit: str) -> tuple[Picture, ...]:
    """One picture with a panel for each band that has a curve; none without load readings."""
    bands = evidence.curve["band"].unique(maintain_order=True).to_list()
    if not bands:
        return ()
    title = _title(evidence, worthwhile_db)
    furthest = max([20.0, *(rise + 1 for rise in evidence.points["noise_rise_db"].drop_nulls())])
    low, high = _reach(evidence)
    scale = Scale(
        {float(at): (str(at), str(at)) for at in range(0, int(furthest) + 1, 5)},
        furthest,
        {
            at: f"{at:+d}".replace("-", wording.MINUS) if at else "0"
            for at in range(-10, 15, 2)
            if low < at < high
        },
        low,
        high,
    )
    panels = [_panel(evidence, band, worthwhile_db, furthest, scale) for band in bands]
    caption = (
        "Up: S/N change, dB. To the right: noise rise in bypass, antenna over load, dB. "
        "Dotted: the most that any stage, however good, could give at that noise rise. Solid: this stage, with the "
        "interval of its gain. Dots: single hours of single nights measured here, with their intervals. Upright: where "
        "the stage stops being worth switching, its interval shaded; dashed across: the worthwhile change."
    )
    svg = multiples("ceiling", panels, scale)
    return (Picture("ceiling", title, svg, caption, _numbers(evidence, unit)),)


def _panel(evidence: Evidence, band: str, worthwhile_db: float, furthest: float, scale: Scale) -> Panel:
    curve = evidence.curve.filter(evidence.curve["band"] == band).sort("noise_rise_db")
    curve = curve.gather_every(max(1, curve.height // CURVE_POINTS))
    points = evidence.points.filter(evidence.points["band"] == band)
    points = points.gather_every(max(1, -(-points.height // MOST_POINTS)))
    x = curve["noise_rise_db"].to_list()
    lines = [
        Line("worthwhile", [worthwhile_db] * 2, at=[0.0, furthest]),
        Line("any", curve["ceiling_db"].to_list(), at=x),
        Line("ours", curve["snr_change_db"].to_list(), curve["low"].to_list(), curve["high"].to_list(), x),
    ]
    edge = "no noise rise at which it is worth switching"
    crossings = evidence.crossings.filter(evidence.crossings["band"] == band)
    for row in crossings.iter_rows(named=True):
        ends = [row["noise_rise_low"], row["noise_rise_high"]]
        lines.insert(0, Line("edge", [None, None], [scale.low] * 2, [scale.high] * 2, ends))
        at = Interval(row["noise_rise_db"], row["noise_rise_low"], row["noise_rise_high"])
        edge = f"worth switching below a noise rise of {wording.interval(at, False)} dB"
    known = points.drop_nulls(["low", "high"]).select("noise_rise_db", "low", "high").rows()
    dots = points.select("noise_rise_db", "snr_change_db", pl.col("snr_change_db").alias("same")).rows()
    strokes = [Strokes("span", known), Strokes("dot", dots)]
    strokes += [
        Strokes("at-edge", [(row["noise_rise_db"], scale.low, scale.high)])
        for row in crossings.iter_rows(named=True)
    ]
    return Panel(band, f"{band}: {edge}.", lines, strokes)


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

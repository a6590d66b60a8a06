"""Where does the noise come from? Shares of its variance that follow the household, and the sky."""

import polars as pl

from sweeper.report import wording
from sweeper.report.pictures.picture import Numbers, Picture
from sweeper.report.svg import colour, drawing, inline, sheet

INKS = {"local": "out", "either": "soft"}


def causes(parts: pl.DataFrame, sentence: str) -> tuple[Picture, ...]:
    """One picture of the parts over all bands, where the nights suffice to tell them apart."""
    together = parts.filter(parts["band"] == "all bands").drop_nulls("share")
    if not together.height:
        return ()
    rows = list(together.iter_rows(named=True))
    most = max(rows, key=lambda row: float(row["share"]))
    title = f"Most of the noise's variation goes with: {most['part']} ({most['share']:.0%})"
    with drawing():
        figure = sheet(8.2, 0.9 + 0.38 * len(rows))
        axes = figure.subplots()
        for y, row in enumerate(rows):
            ink = colour(INKS[row["cause"]])
            axes.barh(y, 100 * row["share"], 0.55, color=ink, linewidth=0, alpha=0.55)
            if row["low"] is not None and row["high"] is not None:
                axes.plot([100 * row["low"], 100 * row["high"]], [y, y], color=colour("ink"), linewidth=1.4)
        axes.set_yticks(range(len(rows)), [f"{row['part']} ({row['cause']})" for row in rows])
        axes.invert_yaxis()
        axes.tick_params(axis="y", length=0)
        axes.grid(axis="x")
        axes.set_xlabel("share of the variance of the noise level, %")
        axes.set_ylabel("what it goes with")
        svg = inline(figure, "causes", title, sentence or title)
    numbers = Numbers(
        ("Band", "Goes with", "Cause", "Share, %", "low", "high", "Size, dB"),
        tuple(
            (
                row["band"],
                row["part"],
                row["cause"],
                *(
                    f"{100 * row[key]:.0f}" if row[key] is not None else "–"
                    for key in ("share", "low", "high")
                ),
                wording.decibel(row["size_db"]),
            )
            for row in parts.iter_rows(named=True)
        ),
    )
    return (Picture("causes", title, svg, "Lines are intervals.", numbers),)

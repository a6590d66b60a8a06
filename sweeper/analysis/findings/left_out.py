"""Why nothing that was measured on a band could be used, in a sentence for a listener."""

import polars as pl


def nothing_usable(rows: pl.DataFrame) -> str:
    """What was left out and why, from those `rows` of summaries that are of one band and hold no usable pass."""
    if rows.is_empty():
        return "Nothing measured here yet."
    noise = rows.filter(pl.col("for") == "noise")
    if noise.is_empty():
        return "Only carriers were measured here: add a channel for: noise to this band."
    passes = int(noise["passes_seen"].sum())
    many = "1 pass over a channel was" if passes == 1 else f"{passes} passes over channels were"
    if noise["flags"].str.contains("mixed-bandwidth", literal=True).any():
        why = "within a pass the bandwidth changed, and noise in another bandwidth is another level"
    elif 2 * int(noise["occupied_passes"].sum()) > passes:
        why = "a signal sat in the noise channels; choose others that are empty"
    else:
        why = "none read the antenna both with and without the stage"
    return f"Nothing usable: {many} measured here and left out, because {why}."

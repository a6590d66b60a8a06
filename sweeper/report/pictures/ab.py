"""An A/B comparison drawn: level over time with its edges, both spectra, each signal's change with its interval."""

from collections.abc import Sequence
from math import isfinite
from typing import TYPE_CHECKING

import numpy as np

from sweeper.ab import ABResult, CarrierChange
from sweeper.recordings.comparing import Compared
from sweeper.report import wording
from sweeper.report.pictures.picture import Numbers, Picture
from sweeper.report.svg import NARROW, colour, drawing, inline, sheet

if TYPE_CHECKING:
    from matplotlib.axes import Axes

POINTS = 600
MOST_CARRIERS = 24
WHY = {
    "birdie": "the receiver's own",
    "image": "an image of another",
    "left": "left midway",
    "odd": "unlike the others",
    "unsteady": "speech, keying or data",
    "steady": "steady",
}


def over_time(compared: Compared) -> Picture:
    """The noise floor of the whole recording, the stays with the stage in shaded."""
    levels, result = compared.levels, compared.result
    floor = levels.floor_db
    a_point = -(-len(floor) // POINTS)
    count = max(len(floor) // a_point, 1)
    parts = floor[: count * a_point].reshape(count, -1) if len(floor) >= a_point else floor[None, :]
    known = np.where(np.isfinite(parts), parts, np.nan)
    middle, low, high = (_of_known(known, share) for share in (0.5, 0.05, 0.95))
    at_s = (np.arange(len(middle)) + 0.5) * a_point * levels.every_s
    title = f"{wording.count(result.edges, 'switching')} used: the noise over time"
    ends = [each.at_s for each in result.switched[1:]] + [result.seconds]
    with drawing():
        figure = sheet(8.6, 2.9)
        axes = figure.subplots()
        for each, end_s in zip(result.switched, ends, strict=True):
            if each.path.endswith("-stage"):
                axes.axvspan(each.at_s, end_s, color=colour("in"), alpha=0.13, linewidth=0)
            if each.path.startswith("load-"):
                axes.axvspan(
                    each.at_s, end_s, facecolor="none", edgecolor=colour("load"), hatch="////", linewidth=0
                )
        for each in result.switched[1:]:
            axes.axvline(each.at_s, color=colour("rule"), linewidth=0.7)
        axes.fill_between(at_s, low, high, color=colour("soft"), alpha=0.3, linewidth=0)
        axes.plot(at_s, middle, color=colour("ink"), linewidth=1.1)
        axes.set_xlim(0.0, result.seconds)
        axes.set_xlabel("seconds into the recording")
        axes.set_ylabel("noise floor, dB")
        axes.grid(axis="y")
        svg = inline(figure, "time", title, f"{title}. Shaded while the stage was in.")
    rows = tuple(
        (f"{each.at_s:.1f}", f"{end_s:.1f}", each.path)
        for each, end_s in zip(result.switched, ends, strict=True)
    )
    caption = "Line and band: the noise floor, its median and spread. Shaded: stage in; hatched: on the load."
    return Picture("time", title, svg, caption, Numbers(("From, s", "to, s", "Path"), rows))


def _of_known(parts: "np.ndarray", share: float) -> "np.ndarray":
    filled = np.array(parts)
    empty = ~np.isfinite(filled).any(axis=1)
    filled[empty] = np.nan
    found = np.full(len(filled), np.nan)
    if (~empty).any():
        found[~empty] = np.nanquantile(filled[~empty], share, axis=1)
    return found


def spectra(compared: Compared) -> Picture | None:
    """Both spectra at the edges; bins that count as noise marked below."""
    result = compared.result
    drawn = result.picture
    if drawn is None:
        return None
    hz = np.array(drawn.hz)
    bypass, stage = np.array(drawn.bypass_db), np.array(drawn.stage_db)
    step = -(-len(hz) // 1200)
    if step > 1:
        keep = len(hz) // step * step
        hz = hz[:keep].reshape(-1, step).mean(axis=1)
        bypass, stage = (values[:keep].reshape(-1, step).max(axis=1) for values in (bypass, stage))
    noise = np.array(drawn.noise)[: len(hz) * step].reshape(len(hz), step).mean(axis=1) > 0.5
    absolute = result.noise_change_db is not None
    scale, unit = (1e3, "kHz") if hz[-1] > 20_000 else (1.0, "Hz")
    title = (
        f"The stage changes the noise by {wording.decibel(result.noise_change_db.value, True)} dB"
        if result.noise_change_db is not None
        else "Both spectra, each over its own noise: the gain was not constant"
    )
    shift = 0.0 if absolute else float(np.median(bypass[noise])) if noise.any() else 0.0
    with drawing():
        figure = sheet(8.6, 3.2)
        axes = figure.subplots()
        axes.plot(hz / scale, bypass - shift, color=colour("out"), linewidth=1.0, label="stage out")
        axes.plot(hz / scale, stage - shift, color=colour("in"), linewidth=1.0, label="stage in")
        bottom = float(min(np.quantile(bypass, 0.02), np.quantile(stage, 0.02))) - shift - 4.0
        axes.plot(
            hz[noise] / scale, np.full(int(noise.sum()), bottom), ".", color=colour("soft"), markersize=2
        )
        axes.set_ylim(bottom=bottom - 1.5)
        axes.set_xlim(float(hz[0]) / scale, float(hz[-1]) / scale)
        axes.set_xlabel(unit)
        axes.set_ylabel("dB of full scale, a bin" if absolute else "dB over its own noise, a bin")
        axes.ticklabel_format(axis="x", useOffset=False, style="plain")
        axes.grid(axis="y")
        axes.legend(loc="upper right", frameon=False, fontsize=10, ncols=2)
        alternative = f"{title}. {wording.count(len(result.carriers), 'signal')} stand over the noise."
        svg = inline(figure, "spectra", title, alternative)
    rows = tuple(
        (
            f"{carrier.hz / scale:.3f}" if scale > 1 else f"{carrier.hz:.0f}",
            wording.decibel(carrier.snr_db),
            WHY.get(carrier.kind, carrier.kind),
        )
        for carrier in result.carriers[:MOST_CARRIERS]
    )
    caption = "Means beside the switchings. The dots below mark the bins that count as noise."
    return Picture("spectra", title, svg, caption, Numbers((unit, "S/N out, dB in 2.4 kHz", "Kind"), rows))


def carriers(compared: Compared) -> Picture | None:
    """Each signal's S/N change with its interval, and that of all together."""
    result = compared.result
    shown = [carrier for carrier in result.carriers if carrier.snr_change_db is not None][:MOST_CARRIERS]
    if not shown or result.snr_change_db is None:
        return None
    together = result.snr_change_db
    counted = sum(carrier.counts for carrier in shown)
    title = f"{wording.count(counted, 'signal')}: S/N {wording.interval(together)} dB together"
    shown.sort(key=lambda carrier: carrier.hz)
    with drawing():
        figure = sheet(NARROW - 0.5, 1.1 + 0.3 * (len(shown) + 1))
        axes = figure.subplots()
        axes.axvline(0, color=colour("soft"), linewidth=1)
        axes.axvspan(-result.worthwhile_db, result.worthwhile_db, color=colour("floor"), linewidth=0)
        _rows(axes, shown, result)
        svg = inline(figure, "signals", title, title)
    rows = tuple(
        (
            _hz(carrier),
            wording.decibel(carrier.snr_db),
            wording.interval(carrier.snr_change_db),
            WHY.get(carrier.kind, carrier.kind),
        )
        for carrier in shown
    )
    caption = (
        "Dots: the change of each signal's S/N; lines: its interval; hollow ones do not count. "
        "Shaded: too small to matter."
    )
    return Picture(
        "signals",
        title,
        svg,
        caption,
        Numbers(("Signal", "S/N out, dB in 2.4 kHz", "Change, dB", "Kind"), rows),
    )


def _rows(axes: "Axes", shown: Sequence[CarrierChange], result: ABResult) -> None:
    together = result.snr_change_db
    reach = (
        max([3.0] + [abs(each) for c in shown if c.snr_change_db for each in (c.snr_change_db.value,)]) * 1.6
        + 1.0
    )
    for row, carrier in enumerate(shown):
        change = carrier.snr_change_db
        if change is None:
            continue
        low, high = (
            end if isfinite(end) else sign * 2 * reach for end, sign in ((change.low, -1), (change.high, 1))
        )
        ink = colour("ink" if carrier.counts else "soft")
        axes.plot([low, high], [row, row], color=ink, linewidth=2.2, alpha=0.6, solid_capstyle="butt")
        axes.plot(
            [change.value],
            [row],
            "o",
            color=ink,
            markersize=5,
            markerfacecolor=ink if carrier.counts else "none",
        )
    if together is not None:
        last = len(shown)
        axes.plot([together.low, together.high], [last, last], color=colour("in"), linewidth=4, alpha=0.6)
        axes.plot([together.value], [last], "D", color=colour("in"), markersize=7)
    axes.set_yticks(range(len(shown) + 1), [*(_hz(carrier) for carrier in shown), "together"])
    axes.set_ylim(len(shown) + 0.6, -0.6)
    axes.set_xlim(-reach, reach)
    axes.tick_params(axis="y", length=0)
    axes.grid(axis="x")
    axes.set_xlabel("S/N change, dB (right: better with the stage)")


def _hz(carrier: CarrierChange) -> str:
    return f"{carrier.hz / 1e3:.2f} kHz" if carrier.hz > 20_000 else f"{carrier.hz:.0f} Hz"

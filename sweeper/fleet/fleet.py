"""A whole fleet: every station reduced by an executor, then compared in one place."""

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from sweeper.analysis import FleetFindings, Interval, compare_stations
from sweeper.fleet.executors import Executor
from sweeper.fleet.share import StationShare, reduce_folder


@dataclass(frozen=True)
class Fleet:
    """What a fleet says. `shares` come in the order of their URLs, whoever finished first."""

    shares: tuple[StationShare, ...]
    findings: FleetFindings


def reduce_fleet(
    urls: Sequence[str], executor: Executor, progress: Callable[[float], None] = lambda share: None
) -> Fleet:
    """Reduce the station folders at `urls`; what cannot be read is named in its share, the rest completes."""
    shares: dict[str, StationShare] = {}
    for url, outcome in executor.each(reduce_folder, urls):
        if isinstance(outcome, BaseException):
            outcome = StationShare(
                url, url.rstrip("/").rsplit("/", 1)[-1], 0, 0, None, (f"{url}: {outcome}",)
            )
        shares[url] = outcome
        progress(len(shares) / len(urls))
    in_order = tuple(shares[url] for url in urls)
    return Fleet(in_order, compare_stations(share.result for share in in_order if share.result is not None))


def fleet_json(fleet: Fleet) -> str:
    """The comparison as JSON, format ``sweeper-fleet-1``; the same text for the same folders, whoever did the work."""
    return json.dumps(
        {
            "format": "sweeper-fleet-1",
            "stations": [
                {"station": share.name, "days": share.days, "problems": list(share.problems)}
                for share in fleet.shares
            ],
            "bands": [
                {
                    "band": each.band,
                    "hour_utc": each.hour_utc,
                    "stations": each.stations,
                    "snr_change_db": each.snr_change_db,
                    "above_expected_db": each.above_expected_db,
                    "verdicts": dict(each.verdicts),
                }
                for each in fleet.findings.bands
            ],
            "cells": [
                {
                    "station": cell.station,
                    "band": cell.band,
                    "hour_utc": cell.hour_utc,
                    "snr_change_db": _interval(cell.snr_change_db),
                    "verdict": cell.verdict,
                    "above_expected_db": cell.above_expected_db,
                    "outlier": cell.outlier,
                }
                for cell in fleet.findings.cells
            ],
        },
        indent=1,
        ensure_ascii=False,
    )


def _interval(interval: Interval | None) -> dict[str, Any] | None:
    if interval is None:
        return None
    return {"value": interval.value, "low": interval.low, "high": interval.high}

"""Gain in numbers that can be worked out: means over nights and channels, methods side by side, labels, chokes."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import polars as pl
import pytest
from scipy import stats

from sweeper.analysis.band.gain import Gain, carriers_contradict, combine, quieter_antenna, weighted
from sweeper.analysis.band.gain_methods import GainEstimate, GainMethods
from sweeper.analysis.facts import StationFacts
from tests.sweeper.analysis.band.test_gain_methods import NO_EDGES
from tests.sweeper.analysis.summaries import facts

HAIR = 0.01
"""No gain is known better: dB."""


def carriers(
    gains_db: list[list[float]],
    se_db: float = 0.2,
    resolution_db: float = 0.0,
    passes: int = 4,
    hz: int = 7_000_000,
) -> pl.DataFrame:
    """Rows of a carrier channel: a list of hours for each night."""
    rows = [
        {"for": "carrier", "hz": hz, "night": night, "hour_utc": 18 + hour, "carrier_gain_db": gain_db,
         "carrier_gain_se_db": se_db, "resolution_db": resolution_db, "carrier_passes": passes, **NO_EDGES}
        for night, hours in enumerate(gains_db) for hour, gain_db in enumerate(hours)
    ]  # fmt: skip
    return pl.DataFrame(rows).with_columns(pl.from_epoch("night", time_unit="d"))


def by_carriers(*frames: pl.DataFrame, alike: float = 0.0) -> GainEstimate:
    found = GainMethods(pl.concat(frames), alike).carriers
    assert found is not None
    return found


def test_one_or_two_nights_are_known_as_well_as_their_passes() -> None:
    found = by_carriers(carriers([[15.0, 15.4]]))
    assert found.gain_db == pytest.approx(15.2)
    assert found.se_db == pytest.approx(np.sqrt((2 * (4 * 0.2) ** 2) / 8**2 + HAIR**2))
    assert (found.dof, found.nights, found.source) == (8 - 2, 1, "carriers")
    assert by_carriers(carriers([[15.0], [15.4]])).se_db == pytest.approx(np.hypot(0.2 / np.sqrt(2), HAIR))
    # further apart than their passes let expect: half of 4 dB, one degree of freedom
    apart = by_carriers(carriers([[15.0], [19.0]]))
    assert (apart.se_db, apart.dof) == (pytest.approx(np.hypot(2.0, HAIR)), 1.0)
    assert by_carriers(carriers([[15.0]], passes=1)).dof == 1.0


def test_before_the_third_night_hours_that_differ_by_more_than_chance_are_as_unsure_as_they_differ() -> None:
    """20, 20, 20 and 32 dB, each ± 0.7: the mean of 23 by the scatter of the hours, 6 dB / √4, with three degrees of
    freedom (common practice); hours that differ by their own errors keep these."""
    apart = by_carriers(carriers([[20.0, 20.0, 20.0, 32.0]], se_db=0.7, passes=1))
    alike = by_carriers(carriers([[19.5, 20.5, 20.0, 20.0]], se_db=0.7, passes=1))
    assert (apart.gain_db, apart.se_db, apart.dof) == (23.0, pytest.approx(3.0, abs=0.01), 3.0)
    assert alike.se_db == pytest.approx(0.35, abs=0.01)


def test_from_three_nights_on_the_scatter_of_nights_counts_but_no_less_than_half_of_the_passes_error() -> (
    None
):
    apart = by_carriers(carriers([[14.0], [15.0], [16.0]]))
    assert (apart.gain_db, apart.dof, apart.nights) == (15.0, 2.0, 3)
    assert apart.se_db == pytest.approx(np.hypot(1.0 / np.sqrt(3), HAIR))
    agreeing = by_carriers(carriers([[15.0], [15.0], [15.0]]))
    assert agreeing.se_db == pytest.approx(np.hypot(0.5 * 0.2 / np.sqrt(3), HAIR))


def test_hours_of_a_night_move_together() -> None:
    found = by_carriers(carriers([[14.0, 14.0], [15.0, 15.0], [16.0, 16.0]]))
    assert found.se_db == pytest.approx(np.hypot(1.0 / np.sqrt(3), HAIR))


def test_passes_weigh_and_the_step_of_the_meter_stays() -> None:
    more, fewer = carriers([[14.0]], passes=12), carriers([[18.0]], passes=4)
    assert by_carriers(more, fewer).gain_db == pytest.approx((14.0 * 12 + 18.0 * 4) / 16)
    assert by_carriers(carriers([[15.0]], resolution_db=0.3)).se_db == pytest.approx(
        np.sqrt(0.2**2 + 0.3**2 + HAIR**2)
    )
    assert by_carriers(carriers([[15.0]], resolution_db=float("inf"))).se_db == pytest.approx(
        np.sqrt(0.2**2 + 3.0**2 + HAIR**2)
    )


def test_nights_alike_know_less_than_nights_apart() -> None:
    told = carriers([[14.0], [15.0], [16.0]], se_db=0.0)
    assert by_carriers(told, alike=0.5).se_db > 1.3 * by_carriers(told).se_db


def test_what_has_no_passes_or_no_number_tells_nothing() -> None:
    assert GainMethods(carriers([[15.0]], passes=0)).carriers is None
    assert GainMethods(carriers([[15.0]], se_db=float("inf"))).carriers is None
    both = by_carriers(carriers([[15.0]]), carriers([[19.0]], passes=0, hz=7_010_000))
    assert both.gain_db == 15.0


def test_channels_share_half_of_their_errors() -> None:
    found = by_carriers(carriers([[15.0]]), carriers([[15.2]], hz=7_010_000))
    each = np.hypot(0.2, HAIR)
    assert found.gain_db == pytest.approx(15.1)
    assert found.se_db == pytest.approx(np.sqrt((each**2 / 2 + each**2) / 2))
    assert (found.dof, found.nights) == (3.0, 1)


def test_the_poorer_of_two_channels_tells_the_freedom_and_the_longer_the_nights() -> None:
    long = carriers([[15.0], [15.1], [14.9], [15.0]])
    found = by_carriers(long, carriers([[15.0]], passes=30, hz=7_010_000))
    assert (found.dof, found.nights) == (3.0, 4)


@pytest.mark.parametrize(("apart_db", "mean_db"), [(0.49, None), (0.6, 15.0)])
def test_channels_weigh_alike_only_where_they_differ_by_half_a_decibel_and_more_than_chance(
    apart_db: float, mean_db: float | None
) -> None:
    """Errors of 0.05 and 0.1 dB: with no variance between them the first would weigh four times as much."""
    low = carriers([[15.0 - apart_db / 2]], se_db=0.05)
    high = carriers([[15.0 + apart_db / 2]], se_db=0.1, hz=7_010_000)
    variance = np.array([0.05**2 + HAIR**2, 0.1**2 + HAIR**2])
    weight = 1 / variance
    gains = np.array([15.0 - apart_db / 2, 15.0 + apart_db / 2])
    if mean_db is not None:
        chi = (weight * (gains - weight @ gains / weight.sum()) ** 2).sum()
        assert chi > 3
        weight = 1 / (variance + (chi - 1) / (weight.sum() - (weight**2).sum() / weight.sum()))
    assert by_carriers(low, high).gain_db == pytest.approx(weight @ gains / weight.sum())


def part(source: str, gain_db: float, se_db: float, dof: float = 9.0) -> GainEstimate:
    return GainEstimate(source, gain_db, se_db, dof, 10)  # type: ignore[arg-type]


def test_methods_that_agree_have_the_weighted_mean_its_error_and_welchs_freedom() -> None:
    gain = weighted((part("carriers", 15.0, 0.2, 4.0), part("load", 15.1, 0.1, 20.0)))
    assert gain.gain_db == pytest.approx((15.0 * 25 + 15.1 * 100) / 125)
    assert gain.se_db == pytest.approx(1 / np.sqrt(125))
    assert gain.dof == pytest.approx(1 / (0.2**2 / 4 + 0.8**2 / 20))
    assert (gain.source, gain.flags, gain.sentences) == ("combined", (), ())
    assert weighted((part("load", 15.0, 0.1, 0.3),)).dof == 1.0


@pytest.mark.parametrize(
    ("parts", "source"),
    [
        ((part("carriers", 15.0, 0.1), part("load", 15.0, 0.4)), "carriers"),
        ((part("carriers", 15.0, 0.1), part("load", 15.0, 0.29)), "combined"),
        ((part("bend", 15.0, 0.1), part("carriers", 15.0, 0.4)), "combined"),
        ((part("bend", 15.0, 0.1),), "combined"),
        ((part("noise", 15.0, 0.1),), "noise"),
    ],
)
def test_a_method_that_weighs_less_than_a_tenth_is_not_told(
    parts: tuple[GainEstimate, ...], source: str
) -> None:
    assert weighted(parts).source == source


@pytest.mark.parametrize(("apart_db", "disagree"), [(0.49, False), (0.51, True)])
def test_methods_disagree_from_half_a_decibel_on(apart_db: float, disagree: bool) -> None:
    gain = weighted((part("carriers", 15.0, 0.05), part("load", 15.0 + apart_db, 0.05)))
    assert (gain.flags == ("gain-disagrees",)) == disagree
    chi = (apart_db / 2 / 0.05) ** 2 * 2
    assert gain.se_db == pytest.approx(0.05 / np.sqrt(2) * (np.sqrt(chi) if disagree else 1.0))


@pytest.mark.parametrize(("sigmas", "disagree"), [(0.99, False), (1.01, True)])
def test_methods_disagree_beyond_one_chance_in_a_hundred(sigmas: float, disagree: bool) -> None:
    apart_db = np.sqrt(2 * stats.chi2.isf(0.01, 1)) * 0.3 * sigmas
    gain = weighted((part("carriers", 15.0, 0.3), part("load", 15.0 + apart_db, 0.3)))
    assert (gain.flags == ("gain-disagrees",)) == disagree


def test_three_methods_are_held_against_two_degrees_of_freedom() -> None:
    values = (15.0, 15.6, 16.2)
    gain = weighted(
        tuple(
            part(name, value, 0.2) for name, value in zip(("carriers", "load", "noise"), values, strict=True)
        )
    )
    assert gain.se_db == pytest.approx(0.2 / np.sqrt(3) * np.sqrt((0.6**2 * 2 / 0.04) / 2))


def test_a_bend_that_disagrees_within_chance_widens_the_error_too() -> None:
    """Two errors apart: χ² is 2, below what chance gives once in a hundred."""
    with_bend = weighted((part("bend", 15.0, 0.3), part("load", 15.6, 0.3)))
    assert with_bend.flags == () and with_bend.se_db == pytest.approx(0.3 / np.sqrt(2) * np.sqrt(2.0))
    without = weighted((part("carriers", 15.0, 0.3), part("load", 15.6, 0.3)))
    assert without.se_db == pytest.approx(0.3 / np.sqrt(2))
    close = weighted((part("bend", 15.0, 0.3), part("load", 15.1, 0.3)))
    assert close.se_db == pytest.approx(0.3 / np.sqrt(2))


def band(by_carriers_db: float, se_db: float = 0.1, bend_se_db: float = 0.1) -> Gain:
    return weighted((part("carriers", 15.0 + by_carriers_db, se_db), part("bend", 15.0, bend_se_db)))


@pytest.mark.parametrize(("off_db", "way"), [(-0.71, "less"), (0.71, "more"), (-0.69, ""), (0.69, "")])
def test_carriers_contradict_the_bend_from_seven_tenths_on(off_db: float, way: str) -> None:
    said = carriers_contradict([band(off_db)])
    assert (f"Carriers gain 0.7 dB {way} in the stage" in said) == bool(way) and bool(said) == bool(way)


def test_carriers_contradict_by_all_bands_together_each_by_its_own_errors() -> None:
    """One band off by 1 dB with errors of 0.25 and 0.25: 2.8 errors. Two such bands: four."""
    unsure = band(1.0, 0.25, 0.25)
    assert carriers_contradict([unsure]) == ""
    assert "1.0 dB more" in carriers_contradict([unsure, unsure])
    mixed = [band(1.6, 0.1, 0.1), band(0.0, 0.1, np.sqrt(0.07))]  # weights 50 and 12.5
    assert f"{1.6 * 50 / 62.5:.1f} dB more" in carriers_contradict(mixed)
    assert carriers_contradict([]) == carriers_contradict([weighted((part("carriers", 15.0, 0.1),))]) == ""
    assert carriers_contradict([weighted((part("bend", 12.0, 0.1),))]) == ""


def methods(**ways: object) -> GainMethods:
    given = {"carriers": None, "load": None, "bend": None, "source": None, "lag": None, "offsets_db": {}}
    rows = pl.DataFrame({"load_difference_db": [ways.pop("load_difference_db", 0.2)]})
    return SimpleNamespace(**(given | ways), summaries=rows)  # type: ignore[return-value]


def told(rated_gain_db: float | None) -> StationFacts:
    return replace(facts(), rated_gain_db=rated_gain_db)


@pytest.mark.parametrize(
    ("rated", "off"), [(None, False), (15.0, False), (19.6, False), (19.7, True), (10.4, False), (10.3, True)]
)
def test_a_label_is_off_beyond_three_errors_of_both(rated: float | None, off: bool) -> None:
    """The label is believed to 1.5 dB; the gain of 15 dB to 0.4: three of both are 4.66 dB."""
    gain = combine(methods(load=part("load", 15.0, 0.4)), told(rated))
    assert gain is not None and ("gain-off-label" in gain.flags) == off
    assert any("measures +15.0 dB where its label says" in each for each in gain.sentences) == off


QUIET, STAY = part("load", -8.0, 0.1), part("carriers", 0.3, 0.1)


@pytest.mark.parametrize(
    ("rated", "ways", "choke"),
    [
        (0.0, {"load": QUIET, "carriers": STAY}, True), (0.0, {"load": QUIET}, True), (None, {"load": QUIET}, False),
        (1.0, {"load": QUIET}, True), (-1.01, {"load": QUIET}, False), (0.0, {"carriers": STAY}, False),
        (0.0, {"load": part("load", -0.49, 0.1)}, False), (0.0, {"load": part("load", -0.51, 0.1)}, True),
        (0.0, {"load": part("load", -0.9, 0.31)}, False), (0.0, {"load": part("load", 8.0, 0.1)}, False),
        (0.0, {"load": QUIET, "carriers": part("carriers", -1.29, 0.1)}, True),
        (0.0, {"load": QUIET, "carriers": part("carriers", -1.31, 0.1)}, False),
        (0.0, {"load": QUIET, "carriers": part("carriers", 0.0, 3.1)}, False),
        (0.0, {"load": QUIET, "load_difference_db": 1.0}, True),
        (0.0, {"load": QUIET, "load_difference_db": -1.1}, False),
    ],
)  # fmt: skip
def test_what_makes_a_choke(rated: float | None, ways: dict[str, object], choke: bool) -> None:
    assert quieter_antenna(methods(**ways), told(rated)) == choke


def test_of_a_choke_only_carriers_tell_the_gain() -> None:
    gain = combine(methods(load=QUIET, carriers=STAY), told(0.0))
    assert gain == Gain(
        0.3, 0.1, 9.0, "carriers", (STAY,), ("quieter-antenna",), gain.sentences if gain else ()
    )
    assert gain is not None and "the antenna itself is 8.0 dB quieter" in gain.sentences[0]
    assert combine(methods(load=QUIET), told(0.0)) is None


def test_without_any_method_there_is_no_gain_and_channels_that_differ_are_told() -> None:
    assert combine(methods(), told(None)) is None
    varies = combine(
        methods(load=part("load", 13.0, 0.1), offsets_db={7_000_000: -2.0, 7_010_000: 2.0}), told(None)
    )
    assert varies is not None and varies.flags == ("gain-varies",)
    assert "+11.0 dB at 7000 kHz, +15.0 dB at 7010 kHz" in varies.sentences[0]
    assert (varies.at(7_000_000), varies.at(7_010_000), varies.at(1)) == (11.0, 15.0, 13.0)


def test_the_interval_of_a_gain_is_students() -> None:
    ends = weighted((part("load", 15.0, 0.1, 4.0),)).interval(0.95)
    assert (ends.low, ends.high) == pytest.approx((15.0 - 0.2776, 15.0 + 0.2776), abs=1e-4)


def test_a_noise_source_counts_where_it_is_known_to_three_decibels() -> None:
    def by_source(se_db: float) -> GainEstimate | None:
        rows = carriers([[0.0]]).with_columns(
            pl.lit(14.0).alias("source_gain_db"), pl.lit(se_db).alias("source_gain_se_db"),
            pl.lit(0.0).alias("gain_resolution_db"), pl.lit(3).alias("passes_seen"), pl.lit(5).alias("passes"),
        )  # fmt: skip
        return GainMethods(rows).source

    found = by_source(2.9)
    assert found is not None and (found.gain_db, found.source, found.dof) == (14.0, "noise", 4.0)
    assert by_source(3.1) is None

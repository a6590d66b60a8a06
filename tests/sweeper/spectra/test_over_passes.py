"""What many passes show of a tuning, on spectra whose truth is planted."""

import numpy as np
import pytest

from sweeper.spectra.lines import CENTRE_MOVES_HZ
from sweeper.spectra.over_passes import SeenLine, Stored, TuningSeen, over_passes
from sweeper.words import SignalPath

BINS, STEP_HZ, START_HZ, SEGMENTS = 1000, 200.0, 7_000_000.0, 5
DENSITIES = {"antenna-bypass": 1.0, "antenna-stage": 10.0, "load-bypass": 0.3, "load-stage": 3.0}
NOISE_DB, GAIN_DB = 10.0, 15.0
CENTRE = 500


def stored(
    passes: int = 24,
    *,
    overload: bool = False,
    paths: tuple[str, ...] = tuple(DENSITIES),
    keyed: bool = False,
) -> Stored:
    """Lines of the antenna at 100, 300 (also on the load, weaker) and 800, the receiver's own at 650, the converter's
    line at the centre, an image of 800 across it; with `overload` a product at 420 from 20:00 on.
    """
    dice = np.random.default_rng(11)
    moves = CENTRE_MOVES_HZ / STEP_HZ
    rows, numbers, hours = [], [], []
    for number in range(1, passes + 1):
        centre = CENTRE + (moves if number % 2 else -moves)
        hour = (18 + number // 7) % 24
        for path in paths:
            mean = DENSITIES[path] * dice.gamma(SEGMENTS * 6, 1 / (SEGMENTS * 6), BINS)
            gain = 10 ** (GAIN_DB / 10) if path.endswith("stage") else 1.0
            if path.startswith("antenna"):
                for at, power in ((100, 30.0), (300, 300.0), (800, 30_000.0)):
                    mean[at] += gain * power
                mean[round(2 * centre - 800)] += gain * 20.0
                if keyed and dice.random() < 0.5:
                    mean[550:556] += gain * 20.0
            elif path.startswith("load"):
                mean[300] += gain * 3.0
            mean[650] += 50.0
            mean[round(centre)] += 500.0
            if overload and path == "antenna-stage" and hour >= 20:
                mean[420] += 200.0
            rows.append(10.0 * np.log10(mean))
            numbers.append(number)
            hours.append(hour)
    chosen = tuple(SignalPath.parse(path) for path in paths) * passes
    return Stored(
        "40 m", START_HZ, STEP_HZ, np.array(numbers), np.array(hours), chosen, np.array(rows), SEGMENTS
    )


def seen(*args: int, **kinds: bool) -> TuningSeen:
    found = over_passes(stored(*args, **kinds))  # type: ignore[arg-type]
    assert found is not None
    return found


def lines(found: TuningSeen, kind: str) -> dict[int, SeenLine]:
    """By bin."""
    return {round((line.hz - START_HZ) / STEP_HZ): line for line in found.lines if line.kind == kind}


def test_noise_and_each_line_change_as_planted() -> None:
    found = seen()
    assert found.noise_change_db == pytest.approx(NOISE_DB, abs=0.1)
    signals = lines(found, "signal")
    assert set(signals) == {100, 800}
    for line in signals.values():
        assert line.change_db == pytest.approx(GAIN_DB, abs=0.4)
    # 30 in one bin of 200 Hz over a noise of 1: 30 · 200/2400 of the noise in 2400 Hz
    assert signals[100].snr_db == pytest.approx(10 * np.log10(30 * 200 / 2400), abs=0.3)


def test_each_line_that_is_no_signal_is_named_by_what_it_is() -> None:
    found = seen()
    assert set(lines(found, "birdie")) == {650}
    assert set(lines(found, "leakage")) == {300}
    (converter,) = lines(found, "converter").values()
    assert (converter.hz, converter.twin_hz) == (START_HZ + 515 * STEP_HZ, START_HZ + 485 * STEP_HZ)
    (image,) = lines(found, "image").values()
    assert (image.hz, image.twin_hz) == (START_HZ + 230 * STEP_HZ, START_HZ + 170 * STEP_HZ)
    assert not lines(found, "stage only")


def test_a_line_that_stands_with_the_stage_in_only_is_a_product_of_overload_in_its_hours() -> None:
    (product,) = lines(seen(56, overload=True), "stage only").items()
    assert product[0] == 420
    assert product[1].hours_utc == (20, 21, 22, 23)


def test_a_signal_that_comes_and_goes_by_itself_is_no_product() -> None:
    assert not lines(seen(40, keyed=True), "stage only")


def test_without_a_load_or_a_second_route_it_tells_what_is_there() -> None:
    two = over_passes(stored(paths=("antenna-bypass", "antenna-stage")))
    assert two is not None and set(two.levels_db) == {"antenna-bypass", "antenna-stage"}
    assert {100, 300, 650, 800} <= set(lines(two, "signal"))
    one = over_passes(stored(paths=("antenna-bypass", "load-bypass")))
    assert one is not None and one.noise_change_db is None and one.lines == ()
    assert over_passes(stored(paths=("load-bypass", "load-stage"))) is None


def test_bins_that_nobody_knows_are_left_open() -> None:
    it = stored(8)
    it.levels_db[:, :40] = np.nan
    found = over_passes(it)
    assert found is not None
    assert found.levels_db["antenna-bypass"][:41].count(None) == 40
    assert found.noise_change_db == pytest.approx(NOISE_DB, abs=0.2)

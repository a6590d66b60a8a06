"""What many passes show of a tuning, on spectra whose truth is planted."""

from collections.abc import Collection

import numpy as np
import pytest

from sweeper.spectra.lines import CENTRE_MOVES_HZ
from sweeper.spectra.over_passes import SeenLine, Stored, TuningSeen, over_passes
from sweeper.words import SignalPath

BINS, STEP_HZ, START_HZ, SEGMENTS = 1000, 200.0, 7_000_000.0, 5
DENSITIES = {"antenna-bypass": 1.0, "antenna-stage": 10.0, "load-bypass": 0.3, "load-stage": 3.0}
NOISE_DB, GAIN_DB = 10.0, 15.0
CENTRE = 500
ANTENNA = ("antenna-bypass", "antenna-stage")
FROM_EIGHT = range(14, 42)
"""Passes from 20:00 to midnight: seven an hour, from 18:00 on."""


def stored(
    passes: int = 24,
    *,
    product_in: Collection[int] = (),
    paths: tuple[str, ...] = tuple(DENSITIES),
    keyed: bool = False,
    product: float = 20.0,
    even: float = SEGMENTS * 6,
) -> Stored:
    """Lines of the antenna at 100, 300 (also on the load, weaker) and 800, the receiver's own at 650, the converter's
    line at the centre, an image of 800 across it; in these passes a product of the stage at 420, so far over the noise
    of its bin. `even`: shape of the noise's scatter.
    """
    dice = np.random.default_rng(11)
    moves = CENTRE_MOVES_HZ / STEP_HZ
    rows, numbers, hours = [], [], []
    for number in range(1, passes + 1):
        centre = CENTRE + (moves if number % 2 else -moves)
        hour = (18 + number // 7) % 24
        for path in paths:
            mean = DENSITIES[path] * dice.gamma(even, 1 / even, BINS)
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
            if number in product_in and path == "antenna-stage":
                mean[420] += product * DENSITIES[path]
            rows.append(10.0 * np.log10(mean))
            numbers.append(number)
            hours.append(hour)
    chosen = tuple(SignalPath.parse(path) for path in paths) * passes
    return Stored(
        "40 m", START_HZ, STEP_HZ, np.array(numbers), np.array(hours), chosen, np.array(rows), SEGMENTS
    )


def seen(*args: int, **kinds: object) -> TuningSeen:
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
    (product,) = lines(seen(56, product_in=FROM_EIGHT), "stage only").items()
    assert product[0] == 420
    assert product[1].hours_utc == (20, 21, 22, 23)


@pytest.mark.parametrize(("product", "told"), [(0.5, False), (1.0, True)])
def test_however_even_the_noise_a_product_is_one_from_seven_tenths_of_it_on(
    product: float, told: bool
) -> None:
    """Noise that scatters by 1.4 % would, times ten for what a stage may do and three for chance, allow for 0.42."""
    found = lines(seen(56, product_in=FROM_EIGHT, product=product, even=5000.0), "stage only")
    assert set(found) == ({420} if told else set())


def test_an_hour_is_named_where_the_product_stands_in_half_of_its_passes() -> None:
    """In five passes of seven at 20 and 21 hours, in two of seven in the eighteen hours after those."""
    often = {number for number in range(14, 154) if number % 7 < (5 if number < 28 else 2)}
    (product,) = lines(seen(153, product_in=often, paths=ANTENNA), "stage only").values()
    assert product.hours_utc == (20, 21)


@pytest.mark.parametrize(("passes", "told"), [(19, False), (20, True)])
def test_a_product_is_told_once_chance_would_show_one_in_a_thousand_tunings(passes: int, told: bool) -> None:
    """Of a thousand bins each may be one in a million: 2^-20 is a little less."""
    assert bool(lines(seen(24, product_in=range(1, 1 + passes)), "stage only")) == told


@pytest.mark.parametrize(("passes", "told"), [(5, False), (6, True)])
def test_what_moves_with_the_centre_is_told_from_three_passes_on_either_side(passes: int, told: bool) -> None:
    found = seen(passes)
    assert bool(lines(found, "converter")) == bool(lines(found, "image")) == told


@pytest.mark.parametrize(("known", "told"), [(15, False), (40, True)])
def test_a_tuning_of_which_hardly_a_bin_is_known_has_levels_alone(known: int, told: bool) -> None:
    it = stored(8)
    it.levels_db[:, known:] = np.nan
    found = over_passes(it)
    assert found is not None and found.levels_db["antenna-bypass"][:known].count(None) == 0
    assert (found.noise_change_db is not None) == told


def test_of_many_lines_the_forty_strongest_are_told_in_the_order_of_frequency() -> None:
    it, power = stored(4, paths=ANTENNA), 10.0 ** np.linspace(2.0, 4.0, 60)
    at = 15 + 16 * np.arange(60)
    for row, path in zip(it.levels_db, it.paths, strict=True):
        row[:] = 10.0 * np.log10(DENSITIES[str(path)])
        row[at] += 10.0 * np.log10(power)
    found = over_passes(it)
    assert found is not None
    assert [round((line.hz - START_HZ) / STEP_HZ) for line in found.lines] == at[20:].tolist()


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

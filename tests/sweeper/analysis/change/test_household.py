"""Local or sky: what the noise follows."""

import numpy as np

from sweeper.analysis.band.nightly import nightly
from sweeper.analysis.change.household import local_or_sky, taken_apart
from sweeper.analysis.change.levels import noise_levels
from tests.sweeper.analysis.summaries import Place, facts, made


def parts_of(summaries):
    return local_or_sky(noise_levels(nightly(summaries)), facts())


def test_noise_that_knows_the_weekend_is_made_by_people():
    table, sentence = parts_of(made(Place(night_sd_db=1.0), nights=28, weekend_db=6.0))
    weekend = table.filter((table["part"] == "weekend and hour") & (table["band"] == "all bands")).row(
        0, named=True
    )
    assert weekend["share"] > 0.5
    assert weekend["low"] <= weekend["share"] <= weekend["high"]
    assert weekend["cause"] == "local"
    assert "made by people" in sentence


def test_a_source_that_comes_and_goes_on_one_band_is_not_called_the_sky():
    """A neighbour's heater on random nights, heard on 40 m alone, looks like that band's own sky."""
    forty, eighty = Place("40 m", night_sd_db=4.0), Place("80 m", antenna_k=500_000.0, night_sd_db=0.5)
    table, _ = parts_of(made(forty, eighty, nights=28))
    own = table.filter((table["part"] == "nights, each band by itself") & (table["band"] == "40 m"))
    assert own["share"].item() > 0.5
    assert own["cause"].item() == "either"
    assert "sky" not in table["cause"].to_list()


def test_nights_that_stray_by_themselves_are_not_blamed_on_the_household():
    _, sentence = parts_of(made(Place(night_sd_db=3.0), nights=28))
    assert "Nothing shows that noise follows the weekend" in sentence


def test_a_few_nights_say_so():
    table, sentence = parts_of(made(nights=4))
    assert table.is_empty()
    assert "Too few nights" in sentence


def test_the_parts_of_known_variances_come_back():
    """Hours of 3 dB, nights common to all bands of 2 dB, nights of each band of 1 dB, rest of 0.5 dB."""
    rng = np.random.default_rng(1)
    hours = 3.0 * rng.standard_normal((1, 24, 6))
    common = 2.0 * rng.standard_normal((300, 1, 1))
    own = 1.0 * rng.standard_normal((300, 1, 6))
    cube = hours + common + own + 0.5 * rng.standard_normal((300, 24, 6))
    found = taken_apart(cube, np.zeros(300, dtype=bool), np.zeros(300, dtype=np.int64)).by_name
    assert np.isclose(found["hour of day"].mean(), hours.var(axis=1).mean(), rtol=0.05)
    assert np.isclose(found["nights, all bands alike"].mean(), 4.0, rtol=0.2)
    assert np.isclose(found["nights, each band by itself"].mean(), 1.0, rtol=0.2)
    assert np.isclose(found["rest"].mean(), 0.25, rtol=0.1)

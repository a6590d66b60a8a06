"""Answers as people give them: places, links, gains and frequencies."""

import pytest

from sweeper.cli import first_answers as answers
from sweeper.cli.first_bands import chosen, first_bands


@pytest.mark.parametrize(
    ("answer", "north", "east"),
    [
        # Maidenhead locators and their middles, worked out by hand from the definition: fields of 20 by 10 degrees
        # from 180 W, 90 S, squares of 2 by 1 degrees, subsquares of 5 by 2.5 minutes, tenths of those.
        ("JO65HP", 55 + 37.5 / 60 + 1.25 / 60, 12 + 35 / 60 + 2.5 / 60),
        ("jo65", 55.5, 13.0),
        ("JO65HP00", 55 + 37.5 / 60 + 0.125 / 60, 12 + 35 / 60 + 0.25 / 60),
        ("FN20", 40.5, -75.0),
        ("55.7N 12.6E", 55.7, 12.6),
        ("12.6E 55.7N", 55.7, 12.6),
        ("55,7N 12,6E", 55.7, 12.6),
        ("55.7, 12.6", 55.7, 12.6),
        ("55.7 12.6", 55.7, 12.6),
        ("55.7; 12.6", 55.7, 12.6),
        ("33.9S, 18.4E", -33.9, 18.4),
        ("-33.9, 18.4", -33.9, 18.4),
        ("40.7 N, 74 W", 40.7, -74.0),
        ("55°42'N 12°36'E", 55.7, 12.6),
    ],
)
def test_a_place_is_a_locator_or_degrees(answer: str, north: float, east: float) -> None:
    assert answers.place(answer) == (pytest.approx(north, abs=1e-4), pytest.approx(east, abs=1e-4))


@pytest.mark.parametrize(
    "answer", ["north", "91, 0", "55.7", "55.7N 12.6N", "JO65H", "ZZ99", "55.7X 12.6E", "1,2,3", ""]
)
def test_what_is_no_place_is_asked_for_again(answer: str) -> None:
    with pytest.raises(ValueError):
        answers.place(answer)


@pytest.mark.parametrize(
    ("answer", "link"),
    [("localhost:4532", "tcp://localhost:4532"), ("192.168.1.5:4532", "tcp://192.168.1.5:4532"),
     ("tcp://shack:4532", "tcp://shack:4532"), ("/dev/ttyUSB0", "/dev/ttyUSB0")],
)  # fmt: skip
def test_a_link_may_be_host_and_port(answer: str, link: str) -> None:
    assert answers.link(answer) == link


@pytest.mark.parametrize(
    ("answer", "gain"),
    [("20 dB", 20.0), ("20dB", 20.0), ("-6,5 dB", -6.5), ("−6", -6.0), ("15", 15.0), ("-", None)],
)
def test_a_gain_may_have_its_unit(answer: str, gain: float | None) -> None:
    assert answers.gain(answer) == gain


@pytest.mark.parametrize(
    ("answer", "hz"),
    [("7.1M", 7_100_000), ("7100k", 7_100_000), ("7,1 MHz", 7_100_000), ("7100 kHz", 7_100_000),
     ("7100000 Hz", 7_100_000), ("40 m", None), ("40m", None), ("7.1", None)],
)  # fmt: skip
def test_a_frequency_has_its_unit(answer: str, hz: int | None) -> None:
    assert answers.frequency(answer) == hz


def test_a_frequency_names_its_band() -> None:
    bands = first_bands()
    assert [band.name for band in chosen("7.1M, 9700k, 20 m", bands)] == ["40 m", "31 m", "20 m"]
    assert [band.name for band in chosen("7,1M", bands)] == [band.name for band in chosen("40M", bands)]
    with pytest.raises(ValueError, match="lies in no band"):
        chosen("27.5M", bands)


def test_a_device_is_named_as_its_library_does() -> None:
    assert answers.arguments("driver=rtlsdr, serial=1") == (("driver", "rtlsdr"), ("serial", "1"))
    with pytest.raises(ValueError, match="driver=rtlsdr"):
        answers.arguments("rtlsdr")

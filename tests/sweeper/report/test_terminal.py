"""Tables on a terminal: 80 columns, plain where there is no terminal, no markup from files."""

import re
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from sweeper.analysis import Interval
from sweeper.daemon.live.messages import State, Wear
from sweeper.report import terminal, wording
from tests.sweeper.report import sample


def lines(capsys: pytest.CaptureFixture[str]) -> list[str]:
    return capsys.readouterr().out.splitlines()


@pytest.mark.parametrize("verdict", ["stage", "bypass", "either", "undecided"])
def test_findings_fit_eighty_columns_and_are_plain(capsys: pytest.CaptureFixture[str], verdict: str) -> None:
    terminal.show_findings(sample.findings(verdict=verdict), "Europe/Copenhagen")  # type: ignore[arg-type]
    told = lines(capsys)
    assert max(map(len, told)) <= 80
    assert not re.search("\x1b", "\n".join(told))
    words = {
        "stage": "stage in",
        "bypass": "stage out",
        "either": "no difference",
        "undecided": "not settled yet",
    }
    assert sum(words[verdict] in line for line in told) >= 2


def test_hours_are_told_in_the_listeners_time(capsys: pytest.CaptureFixture[str]) -> None:
    found = sample.findings("40 m")
    periods = tuple(
        replace(p, verdict="bypass", snr_change_db=Interval(-3.0, -3.8, -2.2)) if p.hour_utc < 6 else p
        for p in found.bands[0].periods
    )
    terminal.show_findings(
        replace(found, bands=(replace(found.bands[0], periods=periods),)), "Europe/Copenhagen"
    )
    rows = [line for line in lines(capsys) if " stage " in line and "–" in line][-2:]
    assert "▲ stage in" in rows[0] and "19–01" in rows[0]
    assert "▼ stage out" in rows[1] and "01–07" in rows[1]


def test_three_passes_within_an_hour_are_not_called_a_night() -> None:
    found = sample.findings("40 m", "20 m")

    def of(hours: int, nights: int) -> str:
        bands = tuple(
            replace(band, periods=tuple(replace(p, nights=nights, passes=3) for p in band.periods[:hours]))
            for band in found.bands
        )
        return wording.nights_measured(replace(found, bands=bands))

    assert (of(1, 1), of(2, 1), of(3, 1), of(1, 2)) == ("3 passes", "6 passes", "1 night", "2 nights")
    assert of(0, 1) == "no usable night"


def test_a_band_named_like_markup_is_shown_as_it_is_named(capsys: pytest.CaptureFixture[str]) -> None:
    terminal.show_findings(sample.findings("[bold]40 m[/]", "[link=x]"))
    assert any(line.startswith("[bold]40 m[/]  ") for line in lines(capsys))


def test_a_comparison_says_which_way_the_noise_went(capsys: pytest.CaptureFixture[str]) -> None:
    terminal.show_comparison(sample.comparison(sample.findings()), "Europe/Copenhagen")
    told = lines(capsys)
    assert any("40 m" in line and "−3.0 (−4.0 to −2.0)" in line and "quieter" in line for line in told)
    assert max(map(len, told)) <= 80


def test_minus_zero_is_zero_and_unknown_is_a_dash() -> None:
    assert wording.decibel(-0.04, True) == "0.0"
    assert wording.decibel(-1.25) == "−1.2"
    assert wording.decibel(None) == "–"
    assert wording.interval(Interval(3.14, 2.6, 3.7)) == "+3.1 (+2.6 to +3.7)"


def test_hours_run_from_noon_to_noon_on_the_kitchen_clock() -> None:
    on = datetime(2026, 7, 1, tzinfo=UTC).date()
    # Noon in New York is 16:00 UTC in summer, 17:00 in winter (IANA time-zone database).
    assert wording.night_order(range(24), "America/New_York", on)[0] == 16
    winter = datetime(2026, 1, 1, tzinfo=UTC).date()
    assert wording.night_order(range(24), "America/New_York", winter)[0] == 17


@pytest.mark.parametrize(
    ("hz", "words"), [(198_000, "198 kHz"), (7_038_500, "7.0385 MHz"), (14_100_000, "14.1 MHz")]
)
def test_frequencies_as_listeners_write_them(hz: int, words: str) -> None:
    assert wording.megahertz(hz) == words


def test_a_daemons_state_is_told_row_by_row(capsys: pytest.CaptureFixture[str]) -> None:
    when = datetime(2026, 11, 1, 18, 30, tzinfo=UTC)
    state = State(
        station="Saltmarsh",
        time=when,
        since=when,
        doing="yielding",
        because="The dial was turned [bold]by hand[/].",
        next_pass=when,
        done=7,
        wear=Wear(operations=81_000, rated=100_000, share=0.81, warning="Order a relay."),
        health="7 of 8 passes done, 1 failed (the relay board did not answer): too few are missing to matter.",
    )
    terminal.show_state(state, "Europe/Copenhagen")
    told = lines(capsys)
    assert max(map(len, told)) <= 80
    assert "The dial was turned [bold]by hand[/]." in " ".join(" ".join(told).split())
    assert any(line.startswith("next pass") and "19:30" in line for line in told)
    assert any("81 000 of 100 000 operations, 81.0%. Order a relay." in line for line in told)


def test_a_campaign_without_a_usable_pass_does_not_count_no_nights(
    capsys: pytest.CaptureFixture[str],
) -> None:
    found = sample.findings()
    empty = replace(found, bands=tuple(replace(band, periods=()) for band in found.bands))
    terminal.show_findings(empty)
    told = lines(capsys)
    assert any("no usable night," in line for line in told)
    assert not any("0 nights" in line for line in told)


def test_a_comparison_tells_a_reason_once_for_all_bands_that_share_it(
    capsys: pytest.CaptureFixture[str],
) -> None:
    compared = sample.comparison(sample.findings("80 m", "40 m", "20 m"))
    why = ("Too few nights.", "Too few nights.", "It fell.")
    bands = tuple(replace(band, reason=each) for band, each in zip(compared.bands, why, strict=True))
    terminal.show_comparison(replace(compared, bands=bands))
    told = lines(capsys)
    assert "80 m and 40 m  Too few nights." in told and "20 m  It fell." in told
    said_above = replace(bands[0], band="all bands")
    terminal.show_comparison(replace(compared, bands=bands, all_bands=said_above))
    assert sum("Too few nights." in line for line in lines(capsys)) == 1


def test_a_comparison_without_a_fix_says_how_to_name_one(capsys: pytest.CaptureFixture[str]) -> None:
    compared = replace(sample.comparison(sample.findings("80 m")), fix=None, bands=())
    terminal.show_comparison(compared)
    told = " ".join(" ".join(lines(capsys)).split())
    assert "No clear change of noise" in told and "sweeper compare STATION --fix" in told

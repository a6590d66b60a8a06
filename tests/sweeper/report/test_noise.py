"""What makes the noise, as a person reads it, as JSON and as a picture."""

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from sweeper.errors import WrongInput
from sweeper.noise.change import Change
from sweeper.noise.seen import Found, Heard
from sweeper.noise.told import NoiseTold, told_of
from sweeper.report.noise_picture import noise_picture, write_noise_picture
from sweeper.report.noise_terminal import noise_json, show_noise, show_sources
from sweeper.report.noise_words import lines_of, rows_of, worth_acting
from sweeper.report.sections import Section, sections
from sweeper.report.setting import Setting
from tests.sweeper.report import sample

pytestmark = pytest.mark.slow

BEGIN = datetime(2026, 11, 2, tzinfo=UTC)


def heard(number: int) -> Heard:
    at = BEGIN + timedelta(hours=number)
    found = [Found("mains", 7.0e6, 7.2e6, 0.2, 0.005, -50.0, 50.0)]
    if 17 <= at.hour < 22:
        found.append(Found("comb", 7.0e6, 7.2e6, 0.02, 0.002, -60.0, 65_000.0 + number, 1.0, 10, 12.0))
    return Heard(at.timestamp(), number, "40 m", 7.0e6, 7.2e6, -40.0, 0.3, 0.01, True, tuple(found))


@pytest.fixture(scope="module")
def told() -> NoiseTold:
    return told_of([heard(number) for number in range(24 * 5)], UTC)


def test_a_source_is_told_with_name_rhythm_and_cost(
    told: NoiseTold, capsys: pytest.CaptureFixture[str]
) -> None:
    show_noise("Saltmarsh", told)
    shown = " ".join(capsys.readouterr().out.split())
    assert "Comb every 65.1 kHz on 40 m" in shown and "from 17 to 22 o'clock" in shown
    assert "lifts the noise by 1.0 dB" in shown  # a fifth of it
    assert "with the mains 20 % (" in shown and "sky and rest" in shown
    assert [each.source.kind for each in told.sources] == ["mains", "comb"]  # the costliest first


def test_every_line_fits_a_terminal(told: NoiseTold, capsys: pytest.CaptureFixture[str]) -> None:
    show_noise("Saltmarsh", told)
    assert max(map(len, capsys.readouterr().out.splitlines())) <= 80


def test_noise_on_the_load_is_said_to_be_the_receivers() -> None:
    hum = Found("mains", 7.0e6, 7.2e6, 0.2, 0.005, -50.0, 50.0, on_load=True)
    record = [
        Heard(BEGIN.timestamp() + n, n, "40 m", 7e6, 7.2e6, -40.0, 0.3, 0.01, True, (hum,)) for n in range(5)
    ]
    found = told_of(record, UTC)
    assert "the receiver's own" in lines_of(found.sources[0])[0]
    parts = {part.name: part.share for part in found.splits[0].parts}
    assert parts["mains"] == 0.0 and parts["receiver"] == pytest.approx(0.3)


def test_json_holds_the_same(told: NoiseTold) -> None:
    written = json.loads(noise_json("Saltmarsh", told))
    assert written["format"] == "sweeper-noise-findings-1" and written["passes"] == 120
    comb = written["sources"][1]
    assert comb["spacing_hz"][0] >= 65_000.0 and comb["runs_from_h"] == 17
    assert {part["part"] for part in written["bands"][0]["parts"]} >= {"receiver", "mains", "rest"}


def test_nothing_found_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    quiet = [Heard(BEGIN.timestamp(), 1, "40 m", 7e6, 7.2e6, -40.0, None, 0.0, True, ())]
    show_noise("Saltmarsh", told_of(quiet, UTC))
    assert "No source signs its name" in capsys.readouterr().out


@pytest.mark.parametrize("kind", ["png", "svg"])
def test_the_picture_is_one(told: NoiseTold, kind: str) -> None:
    drawn = noise_picture("Saltmarsh", told, "Europe/Copenhagen", kind)
    assert drawn.startswith(b"\x89PNG" if kind == "png" else b"<?xml")
    if kind == "svg":
        assert "comb every 65.1 kHz" in drawn.decode()


def test_another_kind_of_file_is_refused(told: NoiseTold, tmp_path: Path) -> None:
    with pytest.raises(WrongInput, match="png"):
        write_noise_picture("Saltmarsh", told, "UTC", tmp_path / "noise.gif")


@pytest.mark.parametrize("hours", [2, 96, 1500])
def test_a_picture_of_any_span_has_its_ticks_without_a_warning(hours: int) -> None:
    comb = Found("comb", 7.0e6, 7.2e6, 0.02, 0.002, -60.0, 65_000.0, 1.0, 10, 12.0)
    record = [
        Heard(BEGIN.timestamp() + 60 * hours * n, n, "40 m", 7e6, 7.2e6, -40.0, 0.3, 0.01, True, (comb,))
        for n in range(61)
    ]
    assert noise_picture("Saltmarsh", told_of(record, UTC), "Europe/Copenhagen").startswith(b"\x89PNG")


def section_of(told: NoiseTold | None) -> list[Section]:
    found = sample.findings()
    every = sections(found, sample.tables(found), (), Setting("Europe/Copenhagen"), None, (), told)
    return [each for each in every if each.id == "sources"]


def test_the_report_has_a_section_with_name_rhythm_cost_and_pictures(told: NoiseTold) -> None:
    (section,) = section_of(told)
    assert section.table is not None
    mains, comb = section.table.rows
    assert mains[0] == "mains-synchronous noise" and mains[1:3] == (
        "at all hours",
        "1.0\u00a0on\u00a040\u00a0m",
    )
    assert comb[0] == "comb every 65.1 kHz" and "from 17 to 22 o'clock" in comb[1]
    hours, parts = section.pictures
    assert ("comb every 65.1 kHz", "18:00", "100") in hours.numbers.rows
    assert hours.svg.count("<svg") == 2 and "40 m" in parts.svg
    (row,) = (row for row in parts.numbers.rows if row[1] == "with the mains")
    assert row[0] == "40 m" and row[2].startswith("20 % (") and row[3].startswith("1.0 (")


def test_the_report_on_a_fix_says_what_it_changed_of_each_source(told: NoiseTold) -> None:
    found = sample.findings()
    fell = Change(
        "comb", "comb", ("40 m",), (-14.0, -15.0, -13.0), (0.9, 0.9), "fell", "The comb fell by 14.0 dB."
    )
    for changed, said in (((fell,), ("The comb fell by 14.0 dB.",)), ((), ())):
        every = sections(
            found,
            sample.tables(found),
            (),
            Setting(),
            sample.comparison(found),
            (),
            replace(told, changed=changed),
        )
        (section,) = [each for each in every if each.id == "fix"]
        assert section.items == said


def test_without_a_source_there_is_no_section() -> None:
    quiet = [
        Heard(BEGIN.timestamp() + n, n, "40 m", 7e6, 7.2e6, -40.0, 0.3, 0.01, True, ()) for n in range(9)
    ]
    assert section_of(None) == [] and section_of(told_of(quiet, UTC)) == []


def test_the_answer_names_a_source_only_where_it_is_worth_acting(told: NoiseTold) -> None:
    assert worth_acting(told, 1.5) == ""
    assert worth_acting(told, 0.9) == (
        "Local noise, up to 1.0 dB on 40 m: mains-synchronous noise, at all hours."
    )


def test_the_demo_names_each_in_a_line(told: NoiseTold, capsys: pytest.CaptureFixture[str]) -> None:
    show_sources(told)
    shown = " ".join(capsys.readouterr().out.split())
    assert "comb every 65.1 kHz on 40 m: from 17 to 22 o'clock, up to 0.1 dB of S/N" in shown


def test_a_page_of_a_month_grows_by_no_night(told: NoiseTold) -> None:
    month = told_of([heard(number) for number in range(24 * 30)], UTC)
    sizes = [sum(len(each.svg) for each in section_of(one)[0].pictures) for one in (told, month)]
    assert sizes[1] < 1.1 * sizes[0] < 30_000


def test_one_night_is_told_by_the_clock_and_no_rhythm_is_claimed() -> None:
    night = told_of([heard(number) for number in range(24)], UTC)
    comb = next(each for each in night.sources if each.source.kind == "comb")
    assert comb.rhythm.briefly == "once, from 17:00 to 21:00" and comb.rhythm.words == ()
    assert lines_of(comb)[1].startswith("Seen in 5 of 24 passes: once, from 17:00 to 21:00.")


def test_a_line_that_costs_nothing_has_a_dash_and_its_band() -> None:
    birdie = Found("birdie", 7.1e6, 7.1e6, 0.0, 0.0, -60.0, lines=1, over_db=20.0, on_load=True)
    record = [
        Heard(BEGIN.timestamp() + n, n, "40 m", 7e6, 7.2e6, -40.0, 0.3, 0.01, True, (birdie,))
        for n in range(5)
    ]
    ((name, when, cost, _),) = rows_of(told_of(record, UTC).sources)
    assert (name, when, cost) == ("birdie at 7100.0 kHz", "at all hours", "–\u00a0on\u00a040\u00a0m")

"""What a table leaves open is asked: which question, what its answers mean, and what is never asked."""

import io
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from sweeper.cli.import_questions import answered, can_be_asked
from sweeper.errors import WrongInput
from sweeper.store import BadRows
from sweeper.store.csv_in import Asked, read_csv
from tests.sweeper.store.nights import CHANNELS

ZONE = ZoneInfo("Europe/Copenhagen")


def dialogue(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, said: list[str], *lines: str, asked: Asked
) -> Asked:
    """Read a table, answering what is asked, until it can be read; all of `said` was needed."""
    file = tmp_path / "log.csv"
    file.write_text("\n".join([*lines, ""]), encoding="utf-8")
    heard = io.StringIO("".join(f"{each}\n" for each in said))
    monkeypatch.setattr("sys.stdin", heard)
    while True:
        try:
            assert list(read_csv(file, asked))
        except BadRows as refused:
            assert refused.unclear is not None and can_be_asked(asked, refused.unclear), str(refused)
            asked = answered(asked, refused.unclear)
            continue
        assert heard.read() == ""
        return asked


def test_each_thing_that_a_table_leaves_open_is_asked_once(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    now = dialogue(
        monkeypatch,
        tmp_path,
        ["where", "s", "day", ""],
        *("Date;Time;Where;Stage;Reading", "3/11/2026;18:05;7038.5;out;3", "3/11/2026;18:06;7038.5;in;5"),
        asked=Asked(CHANNELS, station_zone="Europe/Copenhagen"),
    )
    assert now.columns == {"frequency": "Where"}
    assert (now.level, now.dates, now.timezone) == ("S", "day-first", ZONE)
    asked = capsys.readouterr().out
    assert "Which column is the frequency? One of Where" in asked
    assert "it has 3, 5" in asked and "it has 3/11/2026" in asked and "[Europe/Copenhagen]" in asked


def test_an_answer_that_means_nothing_is_asked_again(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    now = dialogue(
        monkeypatch,
        tmp_path,
        ["Nowhere/Land", "UTC"],
        *("Date;Time;kHz;Stage;S", "2026-11-03;18:05;7038.5;out;3"),
        asked=Asked(CHANNELS),
    )
    assert now.timezone == ZoneInfo("UTC")
    assert "no time zone 'Nowhere/Land'" in capsys.readouterr().out


def test_a_unit_is_asked_where_frequencies_fit_none(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    file = tmp_path / "log.csv"
    file.write_text("UTC;Freq;Stage;S\n2026-11-03 18:05;9;out;3\n", encoding="utf-8")
    with pytest.raises(BadRows) as refused:
        list(read_csv(file, Asked(CHANNELS)))
    assert refused.value.unclear is not None
    monkeypatch.setattr("sys.stdin", io.StringIO("GHz\nkhz\n"))
    assert answered(Asked(CHANNELS), refused.value.unclear).frequency == "kHz"


def test_answers_that_end_leave_the_table_out(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    with pytest.raises(WrongInput, match="Nothing of the file was taken"):
        dialogue(
            monkeypatch, tmp_path, [], "Date;Time;kHz;Stage;S", "2026-11-03;18:05;7038.5;out;3",
            asked=Asked(CHANNELS),
        )  # fmt: skip


def test_what_no_answer_would_mend_is_not_asked(tmp_path: Path) -> None:
    file = tmp_path / "log.csv"
    for lines in ("", "a;b\n1;2\n", "UTC;kHz;Stage;S\n2026-11-03 18:05;7038.5;sideways;3\n"):
        file.write_text(lines, encoding="utf-8")
        with pytest.raises(BadRows) as refused:
            list(read_csv(file, Asked(CHANNELS)))
        assert not can_be_asked(Asked(CHANNELS), refused.value.unclear), lines

"""Remarks of an A/B test say what its person can do: another recording after the fact, another test now."""

from dataclasses import dataclass, replace

import pytest

from sweeper.ab import ABResult
from sweeper.report.ab_words import NOW, REMARKS, remarks

RESULT = ABResult(
    "file", None, 7e6, (7.0e6, 7.1e6), 60.0, 10, 0.95, 1.0, (), None, None, None, None, (), "undecided",
    ("gain-unknown", "occupied"), "Nothing.",
)  # fmt: skip


@dataclass(frozen=True)
class Told:
    result: ABResult
    notes: tuple[str, ...] = ("A note.",)


def test_who_attends_a_test_is_told_of_no_recording() -> None:
    said = " ".join(remarks(Told(replace(RESULT, source="now"))))
    assert "record" not in said
    assert "switch its AGC off" in said and "agc_off: true" in said


def test_who_has_a_recording_is_told_to_record_again() -> None:
    said = remarks(Told(RESULT))
    assert said[0] == "A note."
    assert len(said) == 3 and all("ecord with" in sentence for sentence in said[1:])


@pytest.mark.parametrize("flag", REMARKS)
def test_each_remark_that_speaks_of_recording_has_one_for_now(flag: str) -> None:
    assert "record" not in (REMARKS | NOW)[flag]

"""`ab` on recordings, marks and options that somebody spoiled: it ends in words, with 0, 1 or 2."""

import io
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.whole.test_attacks_commands import WORDS, ran

pytestmark = [pytest.mark.slow, pytest.mark.clock]

RATE_HZ = 8_000
FORMS = {"wav": "WAV", "flac": "FLAC", "aiff": "AIFF", "rf64": "RF64", "au": "AU"}
MARKS = "at_s,path\n" + "".join(
    f"{at_s},antenna-{'bypass' if at_s % 2 == 0 else 'stage'}\n" for at_s in range(1, 12)
)
PLAIN_WORDS = [word for word in WORDS if "\x00" not in word]
OPTIONS = [
    "--switched", "--dial", "--mode", "--centre", "--channel", "--confidence", "--worthwhile", "--out", "--marks",
]  # fmt: skip
VALUES = [
    *PLAIN_WORDS,
    "1",
    "2",
    "7100000",
    "USB",
    "every 2 s from 1 s",
    "every 99999999999999999999 s",
    "every 0.5 s from 9e9 s",
]


@pytest.fixture(scope="module")
def recordings() -> dict[str, bytes]:
    """Twelve seconds of noise, a little more of it every other second, in each form."""
    chance = np.random.default_rng(14)
    seconds = np.repeat(np.arange(12), RATE_HZ)
    samples = chance.normal(size=len(seconds)) * np.where(seconds % 2, 0.1, 0.05)
    found = {}
    for suffix, form in FORMS.items():
        file = io.BytesIO()
        soundfile.write(file, samples, RATE_HZ, format=form, subtype="PCM_16")
        found[suffix] = file.getvalue()
    return found


@pytest.mark.timeout(900)
@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    st.sampled_from(sorted(FORMS)),
    st.lists(
        st.tuples(
            st.floats(0, 1), st.sampled_from(["change", "cut", "twice", "head"]), st.binary(max_size=40)
        ),
        max_size=3,
    ),
    st.one_of(st.none(), st.tuples(st.integers(0, 11), st.sampled_from(WORDS), st.sampled_from(WORDS))),
    st.lists(st.tuples(st.sampled_from(OPTIONS), st.sampled_from(VALUES)), max_size=2),
    st.sampled_from([("--marks", "marks.csv"), ("--first", "bypass"), ("--first", "stage", "--json")]),
)
def test_any_recording_ends_in_words(
    tmp_path_factory: pytest.TempPathFactory,
    recordings: dict[str, bytes],
    suffix: str,
    changes: list[tuple[float, str, bytes]],
    mark: tuple[int, str, str] | None,
    options: list[tuple[str, str]],
    how: tuple[str, ...],
) -> None:
    folder = tmp_path_factory.mktemp("recorded")
    content = recordings[suffix]
    for share, change, other in changes:
        at = int(share * (60 if change == "head" else len(content)))
        if change == "cut":
            content = content[:at]
        elif change == "twice":
            content = content[:at] + content
        else:
            content = content[:at] + other + content[at + len(other) :]
    (folder / f"given.{suffix}").write_bytes(content)
    lines = MARKS.split("\n")
    if mark is not None:
        lines[mark[0]] = f"{mark[1]},{mark[2]}"
    (folder / "marks.csv").write_text("\n".join(lines), encoding="utf-8")
    _ends(folder, ["ab", "--file", f"given.{suffix}", *how, *(word for pair in options for word in pair)])


@pytest.mark.parametrize(
    "content",
    ["[" * 100_000, '{"a":' * 50_000, '"\\ud800"', "{}", '{"global": {"core:datatype": "\\ud800"}}'],
)
def test_metadata_that_is_none_ends_in_words(tmp_path: Path, content: str) -> None:
    (tmp_path / "given.sigmf-meta").write_text(content, encoding="utf-8")
    (tmp_path / "given.sigmf-data").write_bytes(bytes(1000))
    _ends(tmp_path, ["ab", "--file", "given.sigmf-meta", "--first", "bypass"])


def _ends(folder: Path, call: list[str]) -> None:
    code, said = ran(folder, *call)
    assert code in (0, 1, 2), (code, said)
    assert "Traceback" not in said
    assert code == 0 or said.strip(), "it ended badly and said nothing"

"""An attended test on the terminal: 80 columns at most, both spectra, the answer, and what to do next."""

import io

import pytest
from rich.console import Console

from sweeper.ab import Interval
from sweeper.attended.view import Curve, Route, View
from sweeper.report.ab_live import lines
from sweeper.report.ab_picture import Picture
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE

PEAK = (0.0,) * 30 + (25.0, 30.0, 25.0) + (0.0,) * 40


def view(**told: object) -> View:
    known = {
        "hz_dial": 15e6, "by_hand": True, "elapsed_s": 130.0, "left_s": 50.0, "path": ANTENNA_BYPASS,
        "to": ANTENNA_STAGE, "switch_in_s": 0.0, "edges": 6, "planned": 10, "out": Route(20.0, 0.0, 20.0),
        "within": Route(35.0, 13.0, 22.0), "signal_change": Interval(15.0, 14.0, 16.0),
        "noise_change": Interval(13.0, 12.8, 13.2), "snr_change": Interval(2.0, 1.1, 2.9),
        "answer": "It helps: S/N +2.0 dB (+1.1 to +2.9), here, now.", "sight": "", "next": "Switch IN now.", "hint": "",
        "still": "", "cap": "", "trouble": "", "hz": tuple(300.0 + 31.25 * nth for nth in range(73)),
        "out_curve": Curve(PEAK), "in_curve": Curve(tuple(db + 13.0 for db in PEAK)),
    }  # fmt: skip
    return View(**{**known, **told})  # type: ignore[arg-type]


def shown(what: View, width: int = 80, height: int = 24) -> str:
    out = io.StringIO()
    Console(file=out, width=width, height=height).print(Picture(what))
    return out.getvalue()


@pytest.mark.parametrize("width", [60, 80, 132])
@pytest.mark.parametrize("height", [14, 24, 60])
def test_it_fits_any_screen_and_what_is_said_comes_before_the_spectra(width: int, height: int) -> None:
    said = {
        name: f"{name} " + "so many words " * 7 + "end" for name in ("next", "hint", "still", "cap", "sight")
    }
    for what in (view(), view(**said) if height > 14 else view(next=said["next"])):
        text = shown(what, width, height)
        lines = [line.rstrip() for line in text.splitlines()]
        assert all(len(line) <= min(width, 80) for line in lines)
        assert len(lines) < height or what.hint
        assert text.index("ANSWER") < text.index("NEXT")
        assert "█" not in text or text.index("NEXT") < text.index("█")
    assert "█" in shown(view(), width, height)


def test_everything_stands_in_it() -> None:
    text = shown(view())
    for part in (
        "15000 kHz · by hand · 2 min 10 s",
        "NOW     OUT  →  IN now",
        "6 of 10",
        "+15.0 dB",
        "+2.0 (+1.1 to +2.9) dB",
    ):
        assert part in text
    assert text.count("█") > 10 and "300 Hz" in text


@pytest.mark.parametrize("it", [Interval(9.0, -3.0, float("inf")), Interval(-20.0, float("-inf"), 2.0)])
def test_an_interval_without_an_end_can_be_drawn(it: Interval) -> None:
    assert "dB" in shown(view(snr_change=it))
    told = view(snr_change=it).as_dict()["snr_change"]
    assert all(-40.0 <= end <= 40.0 for end in told.values())


def test_before_anything_is_heard_it_says_so() -> None:
    nothing = Route(None, None, None)
    text = shown(
        view(out=nothing, within=nothing, out_curve=Curve(()), in_curve=Curve(()), hz=(), snr_change=None)
    )
    assert text.count("not heard yet") == 2


def test_without_a_terminal_a_line_comes_when_there_is_something_to_do(
    capsys: pytest.CaptureFixture[str],
) -> None:
    with lines() as told:
        for at_s in (0.0, 1.0, 2.0):
            told(view(elapsed_s=at_s, next="Wait: switch IN in 3 s.", switch_in_s=3.0 - at_s))
        told(view(elapsed_s=3.0))
        told(view(elapsed_s=3.5))
    said = capsys.readouterr().err.splitlines()
    assert [line for line in said if "NEXT" in line] == ["3 s NEXT Switch IN now."]

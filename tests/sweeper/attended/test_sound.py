"""Which input and which of its channels a test listens to."""

from types import SimpleNamespace

import pytest

from sweeper.attended.sound import sound_of
from sweeper.errors import WrongInput


@pytest.mark.parametrize(
    ("device", "channel", "wanted"),
    [
        ("rx", None, {"device": "rx", "channel": None}),
        ("rx", 2, {"device": "rx", "channel": 2}),
        (None, None, {"device": "card", "rate_hz": 48_000, "channel": 1}),
        (None, 2, {"device": "card", "rate_hz": 48_000, "channel": 2}),
    ],
)
def test_what_is_said_with_the_command_counts_before_the_station_file(
    monkeypatch: pytest.MonkeyPatch, device: str | None, channel: int | None, wanted: dict[str, object]
) -> None:
    monkeypatch.setattr("drivers.samples.sound.open_sound", lambda options: options)
    audio = SimpleNamespace(device="card", rate_hz=48_000, channel=1)
    station = SimpleNamespace(receiver=SimpleNamespace(audio=audio))
    assert sound_of(station, device, channel) == wanted  # type: ignore[arg-type]


def test_where_nothing_names_an_input_it_says_how_to() -> None:
    with pytest.raises(WrongInput, match="--sound"):
        sound_of(None, None)

"""What is handed to services and what is said of their answers, with services in memory."""

import logging
import resource
import sys
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace

import pytest

from sweeper.errors import UserFacingError
from sweeper.notify import Message
from sweeper.notify.delivery import MOST_LETTERS, bound_memory, delivered, sent, services_of
from sweeper.store import day_of
from tests.sweeper.notify.sink import addresses_file
from tests.sweeper.station.files import written
from tests.sweeper.store.nights import EVENING, LONGITUDE, open_store, pass_of

pytestmark = pytest.mark.filterwarnings(
    "ignore:'imghdr' is deprecated:DeprecationWarning"
)  # Apprise asks for it


class Result(SimpleNamespace):
    def __bool__(self) -> bool:
        return bool(self.sent)


@dataclass
class Service:
    """Says of each message whether it went: ``SUCCESS``, ``FAILURE`` or ``TIMEOUT``."""

    says: str = "SUCCESS"
    heard: list[dict[str, object]] = field(default_factory=list)

    def notify(self, **message: object) -> Result:
        file = message.get("attach")
        of = Path(str(file))
        self.heard.append(
            message | ({"bytes": of.read_bytes(), "mode": of.stat().st_mode & 0o777} if file else {})
        )
        return Result(sent=self.says == "SUCCESS", status=SimpleNamespace(name=self.says))


@pytest.mark.parametrize(
    ("says", "told"),
    [
        (("SUCCESS",), ""),
        (("FAILURE", "SUCCESS"), "1 of 2 services did not take a message."),
        (("TIMEOUT", "SUCCESS", "TIMEOUT"), "2 of 3 did not answer in time; perhaps it arrived all the same."),
        (("FAILURE", "TIMEOUT"), "1 of 2 services did not take a message; 1 of 2 did not answer in time; perhaps it"
                                 " arrived all the same."),
        ((), ""),
    ],
)  # fmt: skip
def test_what_did_not_go_is_counted(says: tuple[str, ...], told: str) -> None:
    services = [Service(each) for each in says]
    assert sent(services, "Saltmarsh: at once", "A relay sticks.", None) == told
    for service in services:
        (message,) = service.heard
        assert (message["title"], message["body"]) == ("Saltmarsh: at once", "A relay sticks.")


def test_the_picture_goes_after_the_sentence_where_that_went() -> None:
    """Not every service takes pictures, so the sentence does not wait for one."""
    good, bad = Service(), Service("FAILURE")
    assert (
        sent([good, bad], "Saltmarsh: morning", "Quiet.", b"a picture")
        == "1 of 2 services did not take a message."
    )
    assert [message.get("bytes") for message in good.heard] == [None, b"a picture"]
    assert good.heard[1]["body"] == "Saltmarsh: morning" and good.heard[0]["body"] == "Quiet."
    assert [message.get("bytes") for message in bad.heard] == [None]
    assert not Path(str(good.heard[1]["attach"])).exists()
    assert (
        str(good.heard[1]["attach"]).endswith("night.png") and good.heard[1]["mode"] == 0o600
    )  # for nobody else
    assert [message["timeout"] for message in good.heard] == [30.0, 30.0]


def test_lines_that_name_no_service_are_told_by_their_number_alone() -> None:
    found, said = services_of(["json://127.0.0.1:1/secret-token"])
    assert (len(found), said) == (1, "")
    found, said = services_of(["nothing-secret-token", "json://127.0.0.1:1/"])
    assert (len(found), said) == (1, "Apprise knows no service for address 1 in the file of notify.")
    found, said = services_of(["json://127.0.0.1:1/", "x://secret-token", "y://secret-token"])
    assert (len(found), said) == (1, "Apprise knows no service for addresses 2, 3 in the file of notify.")


def test_without_apprise_it_is_told_how_to_install_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "apprise", None)
    with pytest.raises(UserFacingError, match="apprise is not installed"):
        services_of(["json://127.0.0.1:1/"])


@pytest.fixture
def handed(monkeypatch: pytest.MonkeyPatch) -> list[tuple[object, ...]]:
    """What `sent` was given, in place of sending; this process keeps its logs and its memory."""
    calls: list[tuple[object, ...]] = []

    def instead(*given: object) -> str:
        calls.append(given)
        return "1 of 1 services did not take a message."

    monkeypatch.setattr("sweeper.notify.delivery.sent", instead)
    monkeypatch.setattr("sweeper.notify.delivery.bound_memory", lambda: calls.append(("bound",)))
    monkeypatch.setattr(logging, "disable", lambda level: calls.append(("quiet", level)))
    return calls


def test_a_message_is_handed_over_in_little_memory_and_without_logs(
    tmp_path: Path, handed: list[tuple[object, ...]]
) -> None:
    file = addresses_file(tmp_path, "json://127.0.0.1:1/", "nothing")
    station = written(tmp_path, ("schedule:", f"notify: {{file: {file}}}\nschedule:"))
    said = delivered(station, tmp_path / "data", Message("at once", "x" * 2 * MOST_LETTERS))
    assert said.startswith("Apprise knows no service for address 2") and said.endswith(
        "did not take a message."
    )
    quiet, bound, (services, title, sentence, picture) = handed
    assert quiet == ("quiet", logging.CRITICAL) and bound == ("bound",)
    assert isinstance(services, list) and len(services) == 1
    assert (title, picture, len(str(sentence))) == ("Saltmarsh: at once", None, MOST_LETTERS)


def test_a_station_without_addresses_sends_nothing_and_a_wrong_file_is_told(
    tmp_path: Path, handed: list[tuple[object, ...]]
) -> None:
    message = Message("at once", "A relay sticks.")
    assert delivered(written(tmp_path), tmp_path, message) == ""
    station = written(tmp_path, ("schedule:", f"notify: {{file: {tmp_path / 'none'}}}\nschedule:"))
    assert delivered(station, tmp_path, message).startswith("No message is sent. ")
    assert delivered(tmp_path / "no station", tmp_path, message).startswith("No message is sent. ")
    assert [call[0] for call in handed] == ["quiet"] * 3


@pytest.mark.parametrize("hard", [None, 400_000_000, 100_000_000])
def test_what_sending_may_take_of_memory_is_bound_beyond_what_is_taken(
    monkeypatch: pytest.MonkeyPatch, hard: int | None
) -> None:
    """300 MB more than the 20,000 pages of 4096 bytes that data and stack have by proc(5); no more than the system
    allows."""
    told = resource.RLIM_INFINITY if hard is None else hard
    kept: list[tuple[int, tuple[int, int]]] = []
    monkeypatch.setattr(
        "sweeper.notify.delivery.content_of", lambda file, most: b"90000 9000 900 1 0 20000 0\n"
    )
    monkeypatch.setattr(resource, "getpagesize", lambda: 4096)
    monkeypatch.setattr(resource, "getrlimit", lambda which: (told, told))
    monkeypatch.setattr(resource, "setrlimit", lambda which, limits: kept.append((which, limits)))
    bound_memory()
    most = 20_000 * 4096 + 300_000_000
    assert kept == [(resource.RLIMIT_DATA, (most if hard is None else min(hard, most), told))]


@pytest.mark.parametrize("statm", [b"", b"1 2 3", b"a b c d e f g"])
def test_where_the_system_does_not_tell_what_is_taken_nothing_is_bound(
    monkeypatch: pytest.MonkeyPatch, statm: bytes
) -> None:
    def refused(which: int, limits: tuple[int, int]) -> None:
        raise AssertionError("bound")

    monkeypatch.setattr("sweeper.notify.delivery.content_of", lambda file, most: statm)
    monkeypatch.setattr(resource, "setrlimit", refused)
    bound_memory()


@pytest.mark.slow  # draws the picture
def test_the_morning_is_told_while_the_daemon_goes_on_writing_and_nothing_is_touched(
    tmp_path: Path, handed: list[tuple[object, ...]]
) -> None:
    station = written(
        tmp_path,
        ("schedule:", f"notify: {{file: {addresses_file(tmp_path, 'json://127.0.0.1:1/')}}}\nschedule:"),
    )
    data = tmp_path / "data"
    night = day_of(EVENING, LONGITUDE)
    with open_store(data) as store:
        for number in (1, 2):
            store.write_pass(*pass_of(number, EVENING))
        before = sorted((each.name, each.stat().st_mtime_ns) for each in data.rglob("*.parquet"))
        assert (
            delivered(station, data, Message("morning", "", night))
            == "1 of 1 services did not take a message."
        )
        assert sorted((each.name, each.stat().st_mtime_ns) for each in data.rglob("*.parquet")) == before
    _, title, sentence, picture = handed[-1]
    assert title == "Saltmarsh: morning" and "2 passes" in str(sentence)
    assert isinstance(picture, bytes) and picture.startswith(b"\x89PNG")

"""Servers of hamlib's protocol as public programs answer it, each in its own way: measured with, or told plainly."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest

from drivers.errors import BadReply, Refused, RigError, Unsupported
from drivers.receivers.hamlib import DRIVER, HamlibReceiver, Options
from sweeper.simulation.wires.faults import Send, WireFaults
from sweeper.simulation.wires.wire import Feed, TcpWire

pytestmark = pytest.mark.wires

ANSWERS = {
    "f": "7074000\n",
    "m": "LSB\n2400\n",
    "t": "0\n",
    "M LSB 2400": "RPRT 0\n",
    "l STRENGTH": "-37\n",
    "\\chk_vfo": "0\n",
}


@contextmanager
def server(answer: Callable[[str], str], **keys: object) -> Iterator[tuple[list[str], Options]]:
    """Answers each line by `answer`; all that it was told, and how it is reached."""
    heard: list[str] = []

    def session(send: Send) -> Feed:
        kept = b""

        def feed(data: bytes) -> None:
            nonlocal kept
            *lines, kept = (kept + data).split(b"\n")
            for line in lines:
                heard.append(line.decode("ascii"))
                send(answer(heard[-1]).encode())

        return feed

    wire = TcpWire(session, WireFaults())
    try:
        yield heard, Options.model_validate({"link": wire.link, "timeout_s": 5.0, **keys})
    finally:
        wire.close()


@contextmanager
def opened(options: Options) -> Iterator[HamlibReceiver]:
    receiver = DRIVER.open(options)
    try:
        yield receiver
    finally:
        receiver.close()


def plain(**other: str) -> Callable[[str], str]:
    """A server that speaks the plain form; `other` by command, a name for what is no identifier."""
    answers = ANSWERS | {{"chk_vfo": "\\chk_vfo"}.get(name, name): reply for name, reply in other.items()}
    return lambda line: answers.get(line, "RPRT -1\n")


@pytest.mark.parametrize(
    "told",
    [
        "VFOA\n",
        "VFOA\nRPRT 0\n",
        "CHKVFO: 0\n",
        "chk_vfo: 0\n",
        "\n",
        "RPRT\n",
        "Unknown command\n",
        "RPRT -11\n",
    ],
)
def test_whatever_it_says_of_vfos_but_yes_none_is_named_to_it(told: str) -> None:
    with server(plain(chk_vfo=told)) as (heard, options), opened(options) as receiver:
        assert receiver.frequency_hz() == 7_074_000
        assert receiver.read_power() == -37.0
    assert not any("currVFO" in line for line in heard)


@pytest.mark.parametrize(
    "told", ["ERR\n", "?\n", "RPRT\n", "Command not found\n", "error: unknown command '{}'\n"]
)
def test_how_it_turns_down_what_it_does_not_know_is_learned_and_never_taken_for_an_answer(told: str) -> None:
    def answer(line: str) -> str:
        return ANSWERS.get(line, told.format(line))

    with server(answer) as (_, options), opened(options) as receiver:
        assert receiver.identify() == "a receiver behind hamlib"
        assert {"AGC", "squelch", "noise blanker"} <= set(receiver.prepare())
        both = receiver.two_meters()
        assert both is not None and both.strength and not both.raw
        assert receiver.read_power() == -37.0
    without = {line: reply for line, reply in ANSWERS.items() if line != "l STRENGTH"}
    with (
        server(lambda line: without.get(line, told.format(line))) as (_, options),
        pytest.raises(Unsupported, match="this server has no meter"),
        opened(options),
    ):
        pass


@pytest.mark.parametrize(
    ("told", "meant"),
    [
        ("USB-D1\n2400\n", ("USB-D1", 2400)),
        ("DIGU\n2400.0\n", ("DIGU", 2400)),
        ("LSB\n0\n", ("LSB", None)),
        ("LSB\n-1\n", ("LSB", None)),
        ("LSB\n\n", ("LSB", None)),
        ("LSB 2400\n", ("LSB", 2400)),
    ],
)
def test_modes_and_pass_bands_are_read_as_programs_write_them(
    told: str, meant: tuple[str, int | None]
) -> None:
    with server(plain(m=told)) as (_, options), opened(options) as receiver:
        at = receiver.tuning()
        assert (at.mode, at.bandwidth_hz) == meant


class Standing:
    """Mode and pass band of a server that takes any mode and writes it in small letters."""

    def __init__(self, mode: str, refused: str = "") -> None:
        self.mode, self.refused = mode, refused

    def __call__(self, line: str) -> str:
        word, *rest = line.split()
        if word == "M":
            if rest[0] == self.refused:
                return "RPRT -1\n"
            self.mode = rest[0].lower()
            return "RPRT 0\n"
        return (
            f"{self.mode}\n-1\n"
            if word == "m"
            else ANSWERS.get(line, "RPRT 0\n" if word == "F" else "RPRT -1\n")
        )


def test_a_mode_counts_whatever_the_size_of_its_letters_and_is_given_back() -> None:
    standing = Standing("lsb")
    with server(standing) as (heard, options), opened(options) as receiver:
        found = receiver.remember()
        receiver.prepare()
        receiver.set_mode("USB", 2400)
        assert standing.mode == "usb"
        receiver.restore(found)
        assert standing.mode == "lsb"
    assert not any("-1" in line for line in heard)


def test_a_mode_that_it_would_not_go_back_to_is_not_left() -> None:
    standing = Standing("DRM", refused="DRM")
    with server(standing) as (_, options), opened(options) as receiver:
        found = receiver.remember()
        with pytest.raises(Refused, match=r"stands in DRM and would not go back .* Nothing was changed"):
            receiver.prepare()
        receiver.restore(found)
        assert standing.mode == "DRM"


@pytest.mark.parametrize("told", ["7074.0\n", "7.074000\n", "29999\n", "0\n"])
def test_a_dial_in_another_unit_than_hertz_is_not_touched(told: str) -> None:
    with (
        server(plain(f=told)) as (heard, options),
        opened(options) as receiver,
        pytest.raises(Refused, match=r"counts kilohertz or megahertz .* Nothing was changed"),
    ):
        receiver.remember()
    assert not any(line.startswith(("F", "M")) for line in heard)


@pytest.mark.parametrize(
    ("told", "meant"),
    [("-3.97e+01\n", -39.7), ("STRENGTH: -40\n", -40.0), ("-40.000000\n", -40)],
)
def test_a_level_is_read_as_programs_write_it(told: str, meant: float) -> None:
    with server(plain(**{"l STRENGTH": told})) as (_, options), opened(options) as receiver:
        assert receiver.read_power() == meant


@pytest.mark.parametrize("told", ["nan\n", "-inf\n", "-39,7\n", "-40 dB\n", "\n", "None\n", "1,000,0\n"])
def test_a_level_that_is_no_number_is_told_with_the_question(told: str) -> None:
    with (
        server(plain(**{"l STRENGTH": told})) as (_, options),
        opened(options) as receiver,
        pytest.raises(BadReply, match=r"get_level STRENGTH: .* is no number"),
    ):
        receiver.read_power()


def test_a_server_that_answers_with_its_strength_for_every_level_has_no_other() -> None:
    def answer(line: str) -> str:
        return ANSWERS.get(line) or ("-37\n" if line.startswith("l ") else "RPRT -1\n")

    with server(answer) as (heard, options), opened(options) as receiver:
        assert set(receiver.remember()) == {"tuning"}
        assert {"AGC", "RF gain", "squelch"} <= set(receiver.prepare())
    assert [line for line in heard if line.startswith("L")] == ["L ?"]


def extended(line: str) -> str:
    """A server that knows the extended form, ends its lines as CR LF does, and has a name in UTF-8."""
    if line == "\\chk_vfo":
        return "0\r\n"
    name, answer = {
        "+\\dump_state": ("dump_state", "1\n2\n0\nptt_type=0x1\ndone\n"),
        "+f": ("get_freq", "Frequency: 7074000\n"),
        "+m": ("get_mode", "Mode: LSB\nPassband: 2400\n"),
        "+t": ("get_ptt", "PTT: 0\n"),
        "+_": ("get_info", "Info: Empf\u00e4nger \u2116 1\n"),
        "+l STRENGTH": ("get_level", "-37\n"),
        "+l ?": ("get_level", "STRENGTH\n"),
    }.get(line, ("", ""))
    command = name or {"L": "set_level", "l": "get_level", "u": "get_func", "U": "set_func"}.get(
        line[1:2], line[2:]
    )
    return f"{command}:\n{answer}RPRT {0 if name else -11}\n".replace("\n", "\r\n")


def test_the_extended_form_is_read_with_either_end_of_line_and_names_in_any_script() -> None:
    with server(extended) as (_, options), opened(options) as receiver:
        assert receiver.identify() == "Empf\u00e4nger \u2116 1"
        assert receiver.tuning().hz == 7_074_000
        assert receiver.read_power() == -37.0
        assert not receiver.is_transmitting()


def test_nothing_more_is_said_to_a_server_that_walks_on_letter_by_letter() -> None:
    """It knows no levels and goes on behind what it does not know: in `l STRENGTH` it would find set_ptt."""

    def answer(line: str) -> str:
        if line == "\\chk_vfo":
            return "0\n"
        known = [f"{ANSWERS[letter]}" if letter in "fmt" else "RPRT -1\n" for letter in line]
        return "".join(known)

    with (
        server(answer) as (heard, options),
        pytest.raises(RigError, match="letter by letter"),
        opened(options),
    ):
        pass
    assert not any("T" in line for line in heard)

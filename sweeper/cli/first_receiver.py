"""The receiver of a first station file: what is plugged in is offered, and a server is asked what it can tell."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from drivers.config_files import dialect_names
from sweeper.cli import first_answers as answers
from sweeper.cli.first_links import (
    ANSWER_S,
    RECEIVER_PORT,
    RECEIVER_PORTS,
    described_ports,
    sample_devices,
    servers,
    sound_names,
)
from sweeper.errors import WrongInput

if TYPE_CHECKING:
    from drivers.receivers.hamlib_meters import TwoMeters

Ask = Callable[[str, str, Callable[[str], Any]], Any]
SOUND = "+sound"
BY_HAND = "dial-by-hand"
IQ_TCP = "iq-tcp"
SOAPY = "soapy"
OF_SAMPLES = (SOAPY, IQ_TCP)


@dataclass(frozen=True, slots=True)
class FirstReceiver:
    """`kind` is hamlib, soapy, iq-tcp, dial-by-hand or a dialect. `dial_hz`: where it stands, where that is seen."""

    kind: str
    link: str = ""
    device: tuple[tuple[str, str], ...] = ()
    sound: str | None = None
    receive_only: bool = False
    dial_hz: int | None = None
    fractions: bool = False
    """STRENGTH reads fractions, so it counts from elsewhere than S9."""
    curve: tuple[tuple[float, float], ...] = ()
    """Pairs of RAWSTR and dBm by hamlib's table for the model, where RAWSTR is the finer meter."""


def asked_receiver(ask: Ask) -> FirstReceiver:
    """Questions 4 and 5, and what depends on their answers."""
    at_hand, ports, devices = servers(RECEIVER_PORTS), described_ports(), sample_devices()
    for link in at_hand:
        print(f"   A server answers at {link}, where rigctld listens.")
    for port, what in ports:
        print(f"   Serial port {port}{f': {what}' if what else ''}")
    for device in devices:
        print(f"   Software-defined receiver: {device}")
    kinds = ("hamlib", *dialect_names(), *OF_SAMPLES, BY_HAND)
    print(
        f"   {SOAPY}: a software-defined receiver; {IQ_TCP}: one behind a server of samples. {BY_HAND}: you tune it. "
        f"Add {SOUND} to any other to read levels from its sound."
    )
    offered = SOAPY if devices and not at_hand else "hamlib"
    kind, sound = ask(f"4. Which receiver? {', '.join(kinds)}", offered, _kind(kinds))
    if kind == SOAPY:
        named = ask(
            "5. Which device, as SoapySDR names it?",
            devices[0] if devices else "driver=rtlsdr",
            answers.arguments,
        )
        return FirstReceiver(kind, device=named)
    if kind == IQ_TCP:
        link = ask("5. Where is the server of samples?", "tcp://127.0.0.1:1234", answers.link)
        return FirstReceiver(kind, link)
    if kind == BY_HAND:
        named = _asked_sound(ask, "5")
        sure = ask("5c. Is it a receiver that cannot transmit at all?", "yes", answers.yes_or_no)
        if not sure:
            raise WrongInput(
                "Nobody can ask such a receiver whether it transmits, so it is not used. Nothing is written."
            )
        return FirstReceiver(kind, sound=named, receive_only=True)
    first = at_hand[0] if at_hand else f"tcp://127.0.0.1:{RECEIVER_PORT}"
    if kind != "hamlib":
        first = ports[0][0] if ports else "/dev/ttyUSB0"
    link = ask("5. Where is the receiver? A serial port, or host:port", first, answers.link)
    found = FirstReceiver(kind, link, sound=_asked_sound(ask) if sound else None)
    return _looked_at(found, ask) if kind == "hamlib" else found


def _kind(kinds: tuple[str, ...]) -> Callable[[str], tuple[str, bool]]:
    def understood(answer: str) -> tuple[str, bool]:
        bare = answer.lower().replace(" ", "")
        sound = bare.endswith(SOUND)
        kind = answers.one_of(kinds)(bare.removesuffix(SOUND))
        if sound and kind in (*OF_SAMPLES, BY_HAND):
            raise ValueError(f"{kind} needs no {SOUND}")
        return kind, sound

    return understood


def _asked_sound(ask: Ask, number: str = "5b") -> str:
    names = sound_names()
    for name in names:
        print(f"   Sound input: {name}")
    return str(
        ask(
            f"{number}. Which sound input is it connected to?",
            names[0] if names else "USB Audio",
            answers.name,
        )
    )


def _with_meter(found: FirstReceiver, both: "TwoMeters | None") -> FirstReceiver:
    """What both meters of the receiver show: which to read, and whether it counts from S9."""
    from drivers.receivers.hamlib_meters import fractions

    if both is None:
        return found
    if both.finer:
        print(
            f"   Its RAWSTR is finer than STRENGTH ({both.count_db:.2g} dB a count): it is read, along hamlib's table."
        )
        return replace(found, curve=both.curve)
    if fractions(both.strength):
        print("   Its strength has fractions, so it does not count from S9: it is taken as it is, unit: raw.")
        return replace(found, fractions=True)
    return found


def _looked_at(found: FirstReceiver, ask: Ask) -> FirstReceiver:
    """What a server of hamlib's protocol tells: its dial, and whether it knows that it transmits. Nothing is set."""
    from drivers.errors import RigError
    from drivers.receivers.hamlib import DRIVER, Options

    if not found.link.startswith("tcp:"):
        return found  # opening a serial port may key an interface; `check` says how to prevent that
    try:
        receiver = DRIVER.open(
            Options(link=found.link, timeout_s=10 * ANSWER_S, reconnect_s=0, needs_meter=False)
        )
    except (RigError, ValueError):
        return found
    try:
        found = replace(found, dial_hz=receiver.tuning().hz)
        print(f"   It is tuned to {found.dial_hz / 1e6:.6g} MHz." if found.dial_hz else "")
        if not found.sound:
            found = _with_meter(found, receiver.two_meters())
        receiver.is_transmitting()
    except RigError as fault:
        if "receive_only" not in str(fault):
            return found
        print("   It cannot tell whether it transmits, and is used only if nothing behind it can.")
        sure = ask("5c. Is it a receiver that cannot transmit at all?", "no", answers.yes_or_no)
        return replace(found, receive_only=sure)
    finally:
        receiver.close()
    return found

"""Writes a first station file: every key with what it is for, in the order of a person's questions. Text only."""

import json
from collections.abc import Sequence
from dataclasses import dataclass

from sweeper.cli.first_bands import FirstBand
from sweeper.cli.first_receiver import BY_HAND, IQ_TCP
from sweeper.cli.first_switch import switch_section


@dataclass(frozen=True, slots=True)
class Answers:
    """What a person said to the ten questions.

    `dialect` is empty for hamlib; `device` names a software-defined receiver as SoapySDR does; `sound` is the input
    that levels are read from, None where the meter is read. `step_db` is None where the readings have to show the
    meter's step, `floor` where nobody saw one. `curve` is hamlib's table for RAWSTR, where that is the finer meter;
    `board` is one of `first_switch.switch_kinds`.
    """

    name: str
    latitude: float
    longitude: float
    environment: str
    timezone: str
    dialect: str
    meter_unit: str
    step_db: float | None
    receiver_link: str
    board: str
    board_link: str
    with_load: bool
    rated_gain_db: float | None
    bands: tuple[FirstBand, ...]
    device: tuple[tuple[str, str], ...] = ()
    sound: str | None = None
    receive_only: bool = False
    floor: float | None = None
    curve: tuple[tuple[float, float], ...] = ()

    @property
    def of_samples(self) -> bool:
        """Whether the receiver sees whole bands, so that nobody need name a frequency."""
        return bool(self.device) or self.dialect == IQ_TCP


def station_text(answers: Answers) -> str:
    """The station file as YAML; texts are written as JSON strings, which YAML reads alike."""
    lines = [
        "# A station: receiver, relay board, stage, antenna and place. Written by `sweeper new`; edit it freely, and",
        "# run `sweeper check` on it afterwards.",
        "station:",
        f"  name: {_text(answers.name)}",
        f"  latitude: {answers.latitude:g}            # degrees north",
        f"  longitude: {answers.longitude:g}           # degrees east; west is negative",
        f"  environment: {answers.environment}  # man-made noise category of ITU-R P.372",
        f"  timezone: {_text(answers.timezone)}  # so that hours are those of the kitchen clock",
        *_receiver(answers),
        *switch_section(
            answers.board,
            answers.board_link,
            answers.with_load,
            answers.dialect or "hamlib",
            answers.receiver_link,
        ),
        *_stage(answers),
        "bands:                      # "
        + (
            "edges in place of channels: what is quiet and what is a carrier is learned"
            if answers.of_samples
            else "own frequencies, each heard 1 kHz above the dial"
            if answers.sound is not None
            else "dial frequencies; a carrier is heard within the pass band above"
        ),
        *(
            line
            for band in answers.bands
            for line in _band(band, TONE_HZ if answers.sound is not None else 0, answers.of_samples)
        ),
        *(
            ["plan: {load_every: 1}       # a carrier is told from the receiver's own lines by the load"]
            if answers.of_samples
            else []
        ),
        "schedule:                   # clock times, or sunrise and sunset at the station",
        "  - {every: 12 min, from: sunset - 3 h, to: sunrise + 3 h}",
        "analysis:",
        "  worthwhile_db: 1.0        # the smallest S/N change worth switching for",
        "  confidence: 0.95",
    ]
    return "\n".join(lines) + "\n"


def _receiver(answers: Answers) -> Sequence[str]:
    return [
        "receiver:",
        *_driver(answers),
        *(_spectrum() if answers.of_samples else _channel(answers)),
    ]


def _spectrum() -> list[str]:
    return [
        "  settle_s: 0.05            # after tuning, before samples are taken",
        "  spectrum: {seconds: 0.5}  # whole bands in one tuning: docs/receivers.md",
    ]


def _channel(answers: Answers) -> list[str]:
    return [
        "  mode: USB",
        "  bandwidth_hz: 2400",
        "  settle_s: 0.15            # after tuning, before the first reading",
        *(_meter(answers) if answers.sound is None else []),
    ]


def _curve(answers: Answers) -> list[str]:
    """What the meter's numbers stand for, as far as somebody has written it down."""
    if not answers.curve:
        return [
            "    curve: []               # [[reading, dBm], ...] from `sweeper calibrate`; empty: its decibels are",
            "                            # tested by how far noise scatters, where that can be",
        ]
    pairs = ", ".join(f"[{reading:g}, {dbm:g}]" for reading, dbm in answers.curve)
    return [
        f"    curve: [{pairs}]",
        "    curve_from: table       # hamlib's for the model; nights test it by how far noise scatters",
        "    uncertainty_db: 10      # where its S9 really is, nobody has measured",
    ]


def _meter(answers: Answers) -> list[str]:
    return [
        "  readings: 8               # in one visit",
        "  interval_s: 0.05          # between readings",
        "  meter:",
        f"    unit: {answers.meter_unit:<17} # dB-over-S9, dBm or raw",
        *_step(answers),
        *([f"    floor: {answers.floor:<16g} # found by listening"] if answers.floor is not None else []),
        *(
            ["    s9_dbm: -73             # below 30 MHz, IARU Region 1 Technical Recommendation R.1"]
            if answers.meter_unit == "dB-over-S9"
            else []
        ),
        *_curve(answers),
    ]


def _driver(answers: Answers) -> list[str]:
    if answers.device:
        device = ", ".join(f"{key}: {_text(value)}" for key, value in answers.device)
        return [
            "  driver: soapy             # a software-defined receiver through SoapySDR: docs/receivers.md",
            f"  device: {{{device}}}",
            "  sample_rate_hz: 250000    # one that it offers; more of it, fewer tunings",
        ]
    if answers.dialect == IQ_TCP:
        return [
            "  driver: iq-tcp            # a server of 8-bit samples, such as rtl_tcp",
            f"  link: {_text(answers.receiver_link)}",
            "  sample_rate_hz: 1024000   # what its device can do",
            "  gain_db: 30               # no clipping, and the load still moves the samples: docs/receivers.md",
        ]
    if answers.dialect == BY_HAND:
        return [
            "  driver: dial-by-hand      # you: the program says where to set the dial and waits for Enter",
            "  receive_only: true        # your word that nothing there can transmit",
            f"  audio: {{device: {_text(answers.sound or '')}, agc_off: true}}   # docs/audio.md: gain control off",
        ]
    lines = ["  driver: hamlib            # network control of any receiver that hamlib drives"]
    if answers.dialect:
        lines = [
            "  driver: dialect           # commands written down in a file of configs/dialects",
            f"  dialect: {_text(answers.dialect)}",
        ]
    lines.append(f"  link: {_text(answers.receiver_link)}")
    if answers.curve:
        lines.append(
            "  level: RAWSTR             # the receiver's own number, finer than hamlib's whole decibels"
        )
    if answers.receive_only:
        lines.append("  receive_only: true        # your word that nothing behind it can transmit")
    if answers.sound is not None:
        lines.append(
            f"  audio: {{device: {_text(answers.sound)}}}   # levels are read from its sound: docs/audio.md"
        )
    return lines


def _step(answers: Answers) -> Sequence[str]:
    if answers.step_db is None:
        return []
    why = (
        "what one number of its meter is worth"
        if answers.dialect
        else "hamlib tells strength in whole decibels"
    )
    return [f"    step_db: {answers.step_db:<14.3g} # {why}"]


def _stage(answers: Answers) -> Sequence[str]:
    if answers.rated_gain_db is None:
        return ["stage: {}                   # rated_gain_db and rated_noise_figure_db, where you know them"]
    return ["stage:", f"  rated_gain_db: {answers.rated_gain_db:g}         # from its data sheet"]


TONE_HZ = 1000
"""So far above the dial a channel sounds, where levels are read from the sound."""


def _band(band: FirstBand, above_hz: int, edges: bool) -> Sequence[str]:
    if edges:
        lowest, highest = band.range_hz
        return [
            f"  - {{name: {_text(band.name)}, edges_hz: [{lowest}, {highest}]}}  # {band.service}; {band.source}"
        ]
    found = "found empty by listening" if band.listened else "check by ear that they are empty"
    carriers = "heard just now" if band.heard else "check that they are on the air at your place"
    return [
        f"  - name: {_text(band.name)}  # {band.service}; {band.source}; noise channels: {found}; carriers: {carriers}",
        "    channels:",
        *(f"      - {{hz: {hz + above_hz}, for: noise}}" for hz in band.noise_hz),
        *(f"      - {{hz: {hz + above_hz}, for: carrier}}" for hz in band.carrier_hz),
    ]


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)

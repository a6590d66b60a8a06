"""A pass by sound: the same order, the same care for the station, and rows from spectra."""

import math
from dataclasses import replace
from itertools import groupby

import pytest

from drivers.contracts import Tuning
from drivers.errors import LinkLost, Unsupported
from sweeper.engine import measure_pass
from sweeper.engine.by_sound import SoundSettings
from sweeper.simulation.receivers.audio import Hearing
from sweeper.simulation.world.bench import Bench
from sweeper.simulation.world.saltmarsh import saltmarsh
from sweeper.simulation.world.world import Listening
from sweeper.spectra.rows import CELL_HZ
from sweeper.words import ANTENNA_BYPASS, ANTENNA_STAGE, LOAD_BYPASS, Channel, SignalPath, Visit
from tests.sweeper.engine.bench import ABBA, FOUND, SETTINGS, Board, Dial, Kept, a_clock
from tests.sweeper.engine.heard import Heard

pytestmark = pytest.mark.slow

NOISE = Channel("40 m", 7_038_500, "noise", 2400)
CARRIER = Channel("31 m", 10_000_000, "carrier", 2400)
VISITS = tuple(Visit(channel, path) for path in (*ABBA, LOAD_BYPASS) for channel in (NOISE, CARRIER))
SOUND = SoundSettings(1.0, 0.25, 1000, 3000.0, gain_held=True)
MEASURING = replace(SETTINGS, mode="USB", sound=SOUND)


class Rig:
    """Dial and board in memory that carry a simulated bench along, whose sound is the source."""

    def __init__(self) -> None:
        self.clock = a_clock()
        self.world = saltmarsh()
        self.bench = Bench(self.world, self.clock)
        self.bench.mode, self.bench.bandwidth_hz, self.bench.agc_off = "USB", 2400, True
        self.hearing = Hearing(self.world, self.bench, self.clock, rate_hz=12_000, block=600)
        self.source = Heard(self.hearing, self.clock)
        self.kept = Kept()
        self.dial = Dial(before=self.tuned)
        self.board = Board(before=self.switched)

    def tuned(self, call: str) -> None:
        self.bench.tune(self.dial.tuning_now.hz)

    def switched(self, call: str) -> None:
        path = SignalPath.parse(call.removeprefix("select "))
        self.bench.set_coil(0, path.route == "stage")
        self.bench.set_coil(1, path.source == "load")

    def measured(self, settings=MEASURING, visits=VISITS):
        from threading import Event

        record = measure_pass(
            1, visits, self.dial, self.board, self.clock, settings, self.kept, Event(), samples=self.source
        )
        return record, self.kept.records[-1][1]

    def wanted_db(self, channel: Channel, path: SignalPath) -> float:
        at = Listening(channel.hz - 1000, "USB", 2400, path.source, path.route)
        means = self.world.means(self.clock.now().timestamp(), at)
        return 10 * math.log10(means.noise_w / 2400 * 281 * 1e3) + 40.0


def test_levels_of_a_pass_are_those_at_the_receivers_input() -> None:
    rig = Rig()
    record, readings = rig.measured()
    assert (record.outcome, record.because) == ("done", "")
    assert [len(shown) for shown in rig.kept.shown] == [8, 1] * 5  # for whoever looks on meanwhile
    assert all(one is not None for one in rig.kept.heard)
    assert [band for band, _ in rig.kept.spectra] == [visit.channel.band for visit in VISITS]
    assert [one.path for _, one in rig.kept.spectra] == [visit.path for visit in VISITS]
    cells = [each.channel.hz for each in readings if each.channel.purpose == "noise"]
    assert set(cells) == {7_037_950 + 300 * nth for nth in range(8)}
    assert {cells.count(hz) for hz in cells} == {5}
    named = [each for each in readings if each.channel == replace(CARRIER, bandwidth_hz=CELL_HZ)]
    assert len(named) == 5
    for path in (ANTENNA_BYPASS, ANTENNA_STAGE, LOAD_BYPASS):
        found = [each.reading for each in readings if each.channel.band == "40 m" and each.path == path]
        assert sum(found) / len(found) == pytest.approx(rig.wanted_db(NOISE, path), abs=0.4)


def test_lines_that_stood_in_earlier_passes_are_read_where_the_pass_band_holds_them() -> None:
    known = {
        "31 m": {9_999_400: 3.0, 10_000_200: 3.0, 10_009_000: 3.0, 10_000_900: 1.0},
        "40 m": {7_038_300: 2.0},
    }
    rig = Rig()
    _, readings = rig.measured(replace(MEASURING, sound=replace(SOUND, known=known)))
    carriers = {
        (each.channel.band, each.channel.hz) for each in readings if each.channel.purpose == "carrier"
    }
    assert carriers == {("31 m", 10_000_000), ("31 m", 9_999_400), ("40 m", 7_038_300)}
    assert rig.kept.stood_hz.keys() == {"31 m", "40 m"}


def test_the_dial_stands_beside_a_channel_and_goes_back() -> None:
    rig = Rig()
    dials = []
    rig.dial.before = lambda call: (rig.tuned(call), dials.append(rig.dial.tuning_now.hz))
    rig.measured()
    assert {7_037_500, 9_999_000} <= set(dials)
    assert rig.dial.tuning_now == FOUND
    assert rig.board.standing == "antenna-bypass"


def test_nothing_is_heard_before_the_sounds_own_delay_is_over() -> None:
    rig = Rig()
    moved = []
    rig.board.before = lambda call: (rig.switched(call), moved.append(rig.clock.monotonic()))
    rig.measured()
    began = [began for began, _ in rig.source.took]
    assert all(not at <= each < at + SOUND.delay_s for at in moved for each in began)


@pytest.mark.parametrize("agc_off", [True, False])
def test_without_the_gain_control_known_to_be_off_ratios_are_stored_and_no_level(agc_off: bool) -> None:
    rig = Rig()
    rig.bench.agc_off = agc_off
    record, readings = rig.measured(replace(MEASURING, sound=replace(SOUND, gain_held=False)))
    assert record.outcome == "done"
    assert "agc_off: true" in " ".join(record.unknown_settings)
    assert {each.channel for each in readings} == {replace(CARRIER, purpose="ratio", bandwidth_hz=CELL_HZ)}
    assert {each.dbm for each in readings} == {None}
    each_path = [path for path, _ in groupby(each.path for each in readings)]
    assert each_path == [path for path, _ in groupby(visit.path for visit in VISITS)]
    assert len(readings) == 4 * 5  # quarters of a second, visits
    assert rig.kept.spectra == ()
    assert [len(shown) for shown in rig.kept.shown] == [0, 1] * 5
    assert rig.dial.tuning_now == FOUND


def test_a_receiver_whose_gain_control_cannot_be_told_needs_somebodys_word_for_levels() -> None:
    rig = Rig()
    rig.dial.prepare = lambda: ("AGC",)
    assert {each.channel.purpose for each in rig.measured()[1]} == {"ratio"}
    vouched = rig.measured(replace(MEASURING, sound=replace(SOUND, vouched=True)))[1]
    assert {each.channel.purpose for each in vouched} == {"noise", "carrier"}


def test_a_card_that_is_unplugged_ends_the_pass_and_leaves_the_station_as_found() -> None:
    rig = Rig()
    take = rig.source.take

    def unplugged(seconds: float, after_s: float):
        if len(rig.source.took) == 3:
            raise LinkLost("sound input", "usb is gone.", "Is the card unplugged?")
        return take(seconds, after_s)

    rig.source.take = unplugged
    record, readings = rig.measured()
    assert (record.outcome, readings, rig.kept.spectra) == ("failed", (), ())
    assert "unplugged" in record.because
    assert rig.dial.tuning_now == FOUND
    assert rig.board.standing == "antenna-bypass"


def test_what_could_not_be_known_of_the_card_is_kept_with_the_pass() -> None:
    rig = Rig()
    rig.source.moving = ("the sound card's Mic Boost",)
    assert "the sound card's Mic Boost" in rig.measured()[0].unknown_settings


def test_a_meter_that_sees_another_stage_is_named_and_one_that_is_missing_is_not_missed() -> None:
    rig = Rig()
    rig.dial.read_power = lambda: -60.0 if rig.bench.heard_through()[1] == "stage" else -100.0
    assert "+40 dB" in " ".join(rig.measured()[0].unknown_settings)
    rig = Rig()

    def none() -> float:
        raise Unsupported("receiver", "it has no meter.")

    rig.dial.read_power = none
    assert rig.measured()[0].outcome == "done"


def test_a_transmitter_that_comes_on_while_listening_ends_the_pass() -> None:
    rig = Rig()
    take = rig.source.take

    def keyed(seconds: float, after_s: float):
        rig.dial.transmitting = True
        return take(seconds, after_s)

    rig.source.take = keyed
    record, readings = rig.measured()
    assert (record.outcome, readings) == ("skipped", ())


def test_a_tuning_in_which_no_noise_can_be_told_is_named() -> None:
    rig = Rig()
    record, readings = rig.measured(replace(MEASURING, sound=replace(SOUND, filter_hz=500.0)))
    assert (record.outcome, readings) == ("done", ())
    assert "noise on 40 m, 7038.5 kHz (too narrow a pass band)" in record.unknown_settings


@pytest.mark.parametrize(("mode", "sideband", "dial_hz"), [("LSB", -1, 7_039_500), ("CW", 1, 7_038_500)])
def test_other_side_band_other_side_of_the_dial(mode: str, sideband: int, dial_hz: int) -> None:
    in_cw = mode == "CW"
    sound = SoundSettings(
        1.0,
        0.25,
        600 if in_cw else 1000,
        1200.0 if in_cw else 3000.0,
        True,
        mode=mode,
        step_hz=7.8125 if in_cw else 31.25,
        first_hz=350.0 if in_cw else 300.0,
    )
    assert (sound.dial_hz(7_038_500), sound.sideband) == (dial_hz, sideband)
    rig = Rig()
    rig.bench.mode, rig.bench.bandwidth_hz = mode, 500 if in_cw else 2400
    rig.dial.tuning_now = Tuning(14_074_000, mode, 2400)
    record, readings = rig.measured(replace(MEASURING, mode=mode, sound=sound))
    assert record.outcome == "done"
    told = [(each.channel.purpose, each.path) for each in readings]
    assert told.count(("noise", ANTENNA_STAGE)) == 2 * (1 if in_cw else 8)
    assert told.count(("carrier", ANTENNA_STAGE)) == 2


def test_the_receiver_is_asked_whether_it_transmits_right_before_and_right_after_it_is_listened_to() -> None:
    rig, before, after = Rig(), [], []
    take = rig.source.take

    def listened(seconds: float, after_s: float) -> object:
        before.append(rig.dial.calls[-1])
        block = take(seconds, after_s)
        after.append(len(rig.dial.calls))
        return block

    rig.source.take = listened  # type: ignore[method-assign]
    assert rig.measured()[0].outcome == "done"
    assert set(before) == {"is_transmitting"}
    assert all("is_transmitting" in rig.dial.calls[place : place + 2] for place in after)

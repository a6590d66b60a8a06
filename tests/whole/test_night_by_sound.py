"""Nights measured from the receiver's sound: rigctl's protocol, Modbus, a clock that jumps; and one pass as it is."""

import re
import shutil
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path

import pytest

from sweeper.analysis import Findings
from sweeper.clock import Clock, JumpingClock, SystemClock
from sweeper.daemon.checkup import check_rig
from sweeper.daemon.rig import instruments
from sweeper.daemon.run.campaign import Campaign, run_passes
from sweeper.reduction import facts_of, reduce_store
from sweeper.simulation import Served, saltmarsh, serve
from sweeper.simulation.receivers.audio import Audio, Hearing
from sweeper.simulation.world.world import Listening
from sweeper.station import Station, load
from sweeper.store import Store
from sweeper.words import PassRecord
from tests.drivers.samples.sound_server import sound_server
from tests.drivers.switches.test_person import Somebody
from tests.sweeper.engine.heard import Heard

pytestmark = pytest.mark.slow

STATION = """\
station: {{name: Saltmarsh, latitude: 56.2, longitude: 8.1, environment: rural}}
receiver:
  driver: hamlib
  link: {receiver}
  mode: USB
  settle_s: 0.05
  audio: {{device: rx.monitor}}
switch:
  driver: modbus
  link: {switch}
  unit: 1
  settle_s: 0.03
  paths:
    antenna-bypass: {{0: off, 1: off}}
    antenna-stage: {{0: on, 1: off}}
    load-bypass: {{0: off, 1: on}}
    load-stage: {{0: on, 1: on}}
stage: {{rated_gain_db: 15, rated_noise_figure_db: 3}}
bands:
  - name: 40 m
    channels: [{{hz: 7038500, for: noise}}, {{hz: 7186000, for: noise}}, {{hz: 7205000, for: carrier}}]
  - name: 10 m
    channels: [{{hz: 28070000, for: noise}}, {{hz: 28870000, for: noise}}, {{hz: 28200000, for: carrier}}]
plan: {{load_every: 2}}
"""
EVERY = timedelta(minutes=15)
VERDICTS = {"40 m": "either", "10 m": "stage"}
"""The stage brings 0.2 dB and 2 dB of S/N there that night."""


NOT_HELD = "}\n  agc: fast  # "
"""What makes the gain control stay on."""


def station_of(served: Served, folder: Path, more: str = "") -> Station:
    file = folder / "saltmarsh.yaml"
    text = STATION.format(receiver=served.receiver_link, switch=served.switch_link)
    file.write_text(text.replace("rx.monitor", f"rx.monitor{more}"), encoding="utf-8")
    return load(file)


@contextmanager
def measured(
    folder: Path, served: Served, clock: Clock, hours: float, more: str = ""
) -> Iterator[tuple[Station, Store, list[PassRecord]]]:
    station = station_of(served, folder, more)
    store = Store(folder / "data", station.station.name, station.station.longitude)
    start, passes = clock.now(), int(hours * 3600 / EVERY.total_seconds())
    due = [start + n * EVERY for n in range(passes)] or [None]  # none: one at once
    records = run_passes(Campaign(station, store, clock), due)
    yield station, store, records
    store.close()


def test_a_night_by_sound_tells_what_the_stage_does(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """S/N change and noise rise of each hour within their intervals but for the one in twenty that may miss."""
    world = saltmarsh()
    clock = JumpingClock(world.first_evening)
    with serve(world, clock) as served:
        hearing = Hearing(world, served.receiver, clock, rate_hz=12_000, block=120)
        hearing.audio = Audio(full_scale_dbm=-25.0)  # or the evening's carriers fill the card
        monkeypatch.setattr(instruments, "open_samples", lambda station: Heard(hearing, clock))
        with measured(tmp_path, served, clock, 3.0) as (station, store, passes):
            assert {record.outcome for record in passes} == {"done"}, passes
            assert {record.unknown_settings for record in passes} == {()}
            findings = reduce_store(store, facts_of(station)).findings
        assert served.receiver.agc == "fast"  # as it was found
        assert served.receiver.path == "antenna-bypass"
    assert not served.forbidden
    _held_against_the_truth(world, findings)


def test_a_night_with_the_gain_control_on_tells_the_change_of_signal_to_noise_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    world = saltmarsh()
    clock = JumpingClock(world.first_evening)
    with serve(world, clock) as served:
        hearing = Hearing(world, served.receiver, clock, rate_hz=12_000, block=120)
        hearing.audio = Audio(full_scale_dbm=-25.0)
        monkeypatch.setattr(instruments, "open_samples", lambda station: Heard(hearing, clock))
        with measured(tmp_path, served, clock, 2.0, NOT_HELD) as (station, store, passes):
            assert {record.outcome for record in passes} == {"done"}, passes
            assert all("the gain control" in record.unknown_settings[0] for record in passes)
            assert store.readings().collect()["for"].unique().to_list() == ["ratio"]
            findings = reduce_store(store, facts_of(station)).findings
        assert served.receiver.agc == "fast"
    night = world.first_evening.date()
    assert [(band.band, band.gain_db) for band in findings.bands] == [("40 m", None), ("10 m", None)]
    changes = [(band.band, period) for band in findings.bands for period in band.periods]
    assert len(changes) == 4
    for band, period in changes:
        assert period.noise_rise_db is None
        truth = world.truth(band, period.hour_utc, [night]).snr_change_db
        assert period.snr_change_db is not None
        assert period.snr_change_db.low - 0.1 <= truth <= period.snr_change_db.high + 0.1


def _held_against_the_truth(world, findings: Findings) -> None:
    night = world.first_evening.date()
    assert [band.band for band in findings.bands] == list(VERDICTS)
    held = asked = 0
    for band in findings.bands:
        assert band.gain_db is not None
        truth = world.truth(band.band, 18, [night])
        assert band.gain_db.value == pytest.approx(truth.gain_db, abs=0.5)
        for period in band.periods:
            if period.snr_change_db is None:
                continue
            truth = world.truth(band.band, period.hour_utc, [night])
            assert period.snr_change_db.value == pytest.approx(truth.snr_change_db, abs=0.3)
            asked += 1
            held += period.snr_change_db.low - 0.1 <= truth.snr_change_db <= period.snr_change_db.high + 0.1
        assert {period.verdict for period in band.periods} == {VERDICTS[band.band]}
    assert asked == 6
    assert held >= 0.9 * asked


@pytest.mark.clock
@pytest.mark.skipif(shutil.which("pulseaudio") is None, reason="PulseAudio is not installed")
def test_a_pass_through_a_real_sound_server(tmp_path: Path) -> None:
    """Everything as at a station: sound in real time, dial and relays on their wires, the card by its name."""
    world, clock = saltmarsh(), SystemClock()
    with sound_server("rx 48000 1"), serve(world, clock, sound="rx") as served:
        served.receiver.turn_dial(6_155_000, "AM")
        with measured(tmp_path, served, clock, 0.0, ", delay_s: 0.8") as (_, store, passes):
            assert [(record.outcome, record.because) for record in passes] == [("done", "")]
            rows = store.readings().collect()
        assert (served.receiver.hz, served.receiver.mode, served.receiver.agc) == (6_155_000, "AM", "fast")
        off_db, dials = [], (7_037_500, 7_185_000, 28_069_000, 28_869_000)
        for row in rows.filter(rows["for"] == "noise").iter_rows(named=True):
            near = min(dials, key=lambda hz: abs(row["hz"] - 1500 - hz))
            at = Listening(near, "USB", 2400, row["source"], row["route"])
            means = world.means(row["time"].timestamp(), at)
            wanted_db = 10 * _log10(means.noise_w / 2400 * 281 * 1e3) + 40.0
            off_db.append(row["reading"] - wanted_db)
    assert len(off_db) == 4 * 6 * 8  # noise channels, visits, cells
    assert abs(sum(off_db) / len(off_db)) < 0.1
    assert max(map(abs, off_db)) < 2.0  # of a single second in a single cell


@pytest.mark.clock
@pytest.mark.skipif(shutil.which("pulseaudio") is None, reason="PulseAudio is not installed")
def test_a_check_measures_how_late_the_sound_is(tmp_path: Path) -> None:
    """Some 0.1 s through player and sound server; a station file that says less is told what to write."""
    clock = SystemClock()
    with sound_server("rx 48000 1"), serve(saltmarsh(), clock, sound="rx") as served:
        station = station_of(served, tmp_path)
        file = tmp_path / "saltmarsh.yaml"
        file.write_text(file.read_text("utf-8").replace("rx.monitor", "rx.monitor, delay_s: 0.01"), "utf-8")
        with Store(tmp_path / "data", station.station.name, station.station.longitude) as store:
            items = list(check_rig(load(file), store, clock))
        assert (served.receiver.hz, served.receiver.agc) == (7_074_000, "fast")
    (delay,) = [item for item in items if item.part == "delay"]
    assert not delay.well
    assert re.search(r"heard after 0\.\d\d s .*write delay_s: 0\.", delay.found), delay.found


def test_a_pass_with_a_person_at_the_dial(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No control of the receiver at all: a person is asked for each channel once, and hears nothing of the relays."""
    world = saltmarsh()
    clock = JumpingClock(world.first_evening)
    somebody = Somebody()
    with serve(world, clock) as served:
        served.receiver.mode, served.receiver.agc_off = "USB", True
        hearing = Hearing(world, served.receiver, clock, rate_hz=12_000, block=120)
        hearing.audio = Audio(full_scale_dbm=-25.0)
        monkeypatch.setattr(instruments, "open_samples", lambda station: Heard(hearing, clock))
        by_wire = f"driver: hamlib\n  link: {served.receiver_link}"
        by_hand = f"driver: dial-by-hand\n  link: {somebody.terminal}\n  receive_only: true"
        text = STATION.format(receiver=served.receiver_link, switch=served.switch_link)
        file = tmp_path / "byhand.yaml"
        file.write_text(
            text.replace(by_wire, by_hand).replace("rx.monitor", "rx.monitor, agc_off: true"),
            encoding="utf-8",
        )
        station = load(file)
        dials = [station.receiver.dial_hz(channel.hz) for channel in station.channels()]
        hand = threading.Thread(target=_turns, args=(somebody, served, dials), daemon=True)
        hand.start()
        with Store(tmp_path / "data", "Saltmarsh", 8.1) as store:
            (record,) = run_passes(Campaign(station, store, clock), [clock.now()])
            rows = store.readings().collect()
        hand.join(60)
    assert (record.outcome, record.because) == ("done", "")
    noise, named = rows.filter(rows["for"] == "noise"), {7_205_000, 28_200_000}
    assert noise.height == 6 * 4 * 8
    assert named <= set(rows.filter(rows["for"] == "carrier")["hz"].to_list())
    somebody.leave()


def _turns(somebody: Somebody, served: Served, dials: list[int]) -> None:
    for hz in dials:
        somebody.read_until(f"{hz / 1e3:.3f} kHz".encode())
        served.receiver.tune(hz)
        somebody.types(b"\n")


def _log10(value: float) -> float:
    from math import log10

    return log10(value)

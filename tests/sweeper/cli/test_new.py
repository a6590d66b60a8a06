"""From ten questions to a station file that measures: answers offered, answers refused, empty frequencies found."""

import io
import re
from pathlib import Path

import pytest

from drivers.config_files import board_names, station_file
from sweeper.cli.first_bands import chosen, first_bands
from sweeper.cli.first_links import servers
from sweeper.cli.first_listen import Heard, candidates, floor_of, listen, quietest
from sweeper.cli.first_switch import switch_kinds
from sweeper.cli.new import new
from sweeper.clock import JumpingClock
from sweeper.daemon.rig.instruments import open_receiver
from sweeper.errors import WrongInput
from sweeper.simulation import saltmarsh, serve
from sweeper.station import drivers, load
from sweeper.station.rewrite import with_values
from sweeper.station.sections import Meter
from tests.clocks import evening
from tests.whole.peers import free_port, rigctld


@pytest.fixture(autouse=True)
def no_server_of_this_computer(monkeypatch: pytest.MonkeyPatch) -> None:
    """What happens to listen where rigctld would is none of these tests' business."""
    monkeypatch.setattr("sweeper.cli.first_receiver.RECEIVER_PORTS", ())
    monkeypatch.setattr("sweeper.cli.first_receiver.RECEIVER_PORT", free_port())


def answer(monkeypatch: pytest.MonkeyPatch, *answers: str) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in answers)))


def test_enter_ten_times_gives_a_file_that_is_valid_and_says_what_each_key_is(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    answer(monkeypatch, *[""] * 10)
    file = tmp_path / "home.yaml"
    new(file, listen=False, check=False)
    station = load(file)
    assert [band.name for band in station.bands] == ["80 m", "40 m", "20 m", "10 m"]
    assert station.switch.rest == "antenna-bypass"
    assert file.read_text(encoding="utf-8").count("#") > 15


def test_every_band_on_the_list_can_be_taken_and_all_together(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    answer(
        monkeypatch,
        'A "quoted" #name: {x}',
        "-33.9, 18.4",
        "city",
        "ts480",
        "/dev/ttyUSB0",
        "person",
        "",
        "no",
        "12",
        "all",
    )
    file = tmp_path / "all.yaml"
    new(file, listen=False, check=False)
    station = load(file)
    assert station.station.name == 'A "quoted" #name: {x}'
    assert len(station.bands) == len(first_bands())
    assert (station.switch.driver, station.stage.rated_gain_db) == ("person", 12)
    assert {str(path) for path in station.paths()} == {"antenna-bypass", "antenna-stage"}


@pytest.mark.parametrize("board", ["modbus", *board_names(), "line"])
@pytest.mark.parametrize("load_too", ["yes", "no"])
def test_every_relay_board_that_is_offered_gets_a_section_that_its_driver_takes(
    board: str, load_too: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    answer(monkeypatch, "", "", "", "", "", board, "/dev/ttyUSB1", load_too, "", "40 m")
    file = tmp_path / "home.yaml"
    new(file, listen=False, check=False)
    switch = load(file).switch
    assert switch.driver == (board if board not in board_names() else "board")
    paths = switch.options.paths
    assert len(paths) == (4 if load_too == "yes" else 2)
    assert not any(paths["antenna-bypass"].values()), "at rest no relay is pulled in"


LINKS = {
    "http": "http://192.168.1.30",
    "mqtt": "mqtt://127.0.0.1:1883",
    "gpio": "/dev/gpiochip0",
    "joint": "",
    "own-stage": "",
}


@pytest.mark.parametrize("board", LINKS)
@pytest.mark.parametrize("receiver", ["hamlib", "ic7300", "eb200"])
def test_every_other_switch_that_exists_gets_a_section_that_its_driver_takes(
    board: str, receiver: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    links = [LINKS[board]] if LINKS[board] else []
    answer(monkeypatch, "", "", "", receiver, "", board, *links, "no", "", "40 m")
    file = tmp_path / "home.yaml"
    new(file, listen=False, check=False)
    assert load(file).switch.driver == board


def test_every_driver_of_a_switch_and_of_a_receiver_is_offered() -> None:
    assert set(drivers.names_of("switch")) - {"board"} == set(switch_kinds()) - set(board_names())
    assert set(drivers.names_of("receiver")) - {"dialect", "iq"} == {
        "hamlib",
        "soapy",
        "iq-tcp",
        "dial-by-hand",
    }


def test_a_software_defined_receiver_gets_its_device(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    answer(
        monkeypatch,
        "",
        "",
        "",
        "soapy",
        "driver=rtlsdr, serial=00000001",
        "own-stage",
        "person",
        "",
        "no",
        "",
        "40 m",
    )
    file = tmp_path / "home.yaml"
    new(file, listen=False, check=False)
    station = load(file)
    receiver = station.receiver
    assert (receiver.driver, receiver.meter.unit) == ("soapy", "raw")
    assert [band.edges_hz for band in station.bands] == [(7_000_000, 7_200_000)], "no frequency was asked for"
    assert station.plan.load_every == 1
    assert receiver.options.device == {"driver": "rtlsdr", "serial": "00000001"}


def test_a_server_of_samples_gets_its_address(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    answer(monkeypatch, "", "", "", "iq-tcp", "attic:1234", "own-stage", "person", "", "no", "", "40 m")
    file = tmp_path / "home.yaml"
    new(file, listen=False, check=False)
    receiver = load(file).receiver
    assert (receiver.driver, receiver.meter.unit) == ("iq-tcp", "raw")
    assert receiver.options.link == "tcp://attic:1234"


def test_levels_may_be_taken_from_the_sound(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    answer(monkeypatch, "", "", "", "ts480 + sound", "/dev/ttyUSB0", "USB Audio", "", "", "no", "", "40 m")
    file = tmp_path / "home.yaml"
    new(file, listen=False, check=False)
    station = load(file)
    assert station.receiver.audio is not None and station.receiver.audio.device == "USB Audio"
    by_dial = next(band for band in first_bands() if band.name == "40 m")
    assert {c.hz - 1000 for c in station.channels()} == {*by_dial.noise_hz, *by_dial.carrier_hz}


def test_a_receiver_that_nothing_can_tune_is_tuned_by_hand(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    answer(monkeypatch, "", "", "", "dial-by-hand", "USB Audio", "yes", "person", "", "no", "", "40 m")
    file = tmp_path / "home.yaml"
    new(file, listen=False, check=False)
    receiver = load(file).receiver
    assert receiver.driver == "dial-by-hand" and receiver.options.receive_only
    assert receiver.audio is not None and receiver.audio.device == "USB Audio"
    answer(monkeypatch, "", "", "", "dial-by-hand", "USB Audio", "no")
    with pytest.raises(WrongInput, match="Nothing is written"):
        new(tmp_path / "other.yaml", listen=False, check=False)
    assert not (tmp_path / "other.yaml").exists()


def test_a_server_that_cannot_tell_whether_it_transmits_is_asked_about(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    world = saltmarsh(seed=1)
    for given, written_down in (("yes", True), ("no", False)):
        with serve(world, JumpingClock(world.first_evening), receiver="net-plain") as served:
            served.receiver.turn_dial(9_750_000, "AM")
            link = served.receiver_link.removeprefix("tcp://")
            answer(monkeypatch, "", "", "", "", link, given, "person", "", "no", "", "")
            file = tmp_path / f"{given}.yaml"
            new(file, listen=False, check=False)
        station = load(file)
        assert station.receiver.options.receive_only is written_down
        # such a program counts from full scale, in tenths
        assert (station.receiver.meter.unit, station.receiver.meter.step_db) == ("raw", None)
        assert station.receiver.link == f"tcp://{link}"
        assert [band.name for band in station.bands] == ["80 m", "40 m", "31 m", "20 m", "10 m"]
    assert "It is tuned to 9.75 MHz." in capsys.readouterr().out


def test_a_server_that_tells_it_is_not_asked_about(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    world = saltmarsh(seed=1)
    with serve(world, JumpingClock(world.first_evening)) as served:
        answer(monkeypatch, "", "", "", "", served.receiver_link, "person", "", "no", "", "")
        new(tmp_path / "home.yaml", listen=False, check=False)
        assert not served.receiver_log.forbidden


@pytest.mark.wires
def test_where_rawstr_is_finer_it_is_read_along_hamlibs_table(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """rigctld for model 3073, whose table in hamlib 4.5.4 begins with [0, -54], [10, -48]."""
    world = saltmarsh(seed=1)
    with (
        serve(world, evening(), receiver="ic7300", ours=False) as served,
        rigctld(3073, device=served.receiver_link.removeprefix("tcp://")) as port,
    ):
        answer(monkeypatch, "", "", "", "", f"127.0.0.1:{port}", "person", "", "no", "", "")
        file = tmp_path / "home.yaml"
        new(file, listen=False, check=False)
    receiver = load(file).receiver
    assert receiver.options.level == "RAWSTR"
    assert (receiver.meter.unit, receiver.meter.curve_from, receiver.meter.uncertainty_db) == (
        "raw",
        "table",
        10,
    )
    assert receiver.meter.curve[:2] == ((0.0, -127.0), (10.0, -121.0))


@pytest.mark.parametrize(("place", "told"), [("51.5, 0", False), ("-34, 18", False), ("40, -75", True)])
def test_band_edges_of_another_region_are_not_passed_off_as_ones_own(
    place: str,
    told: bool,
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    answer(monkeypatch, "", place, *[""] * 8)
    new(tmp_path / "home.yaml", listen=False, check=False)
    assert ("ITU Region 1" in capsys.readouterr().out) is told


def test_an_answer_that_is_not_understood_is_asked_for_again(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    answers = ["a/b", "Home", "north", "91, 0", "56, 8", "suburb", "rural", "", "ttyUSB0", "", "", "", "maybe", "yes",
               "lots", "15", "40 m, 39 m", "40m"]  # fmt: skip
    answer(monkeypatch, *answers)
    new(tmp_path / "home.yaml", listen=False, check=False)
    told = capsys.readouterr().out
    assert told.count("Please say it again") == 8
    assert "39m is not on the list" in told
    assert [band.name for band in load(tmp_path / "home.yaml").bands] == ["40 m"]


def test_a_file_that_is_there_stays(tmp_path: Path) -> None:
    file = tmp_path / "home.yaml"
    file.write_text("mine", encoding="utf-8")
    with pytest.raises(WrongInput, match="stays as it is"):
        new(file, listen=False, check=False)
    assert file.read_text(encoding="utf-8") == "mine"


def test_answers_that_end_early_write_nothing(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    answer(monkeypatch, "Home", "56, 8")
    with pytest.raises(WrongInput, match="Nothing is written"):
        new(tmp_path / "home.yaml", listen=False, check=False)
    assert list(tmp_path.iterdir()) == []


def test_every_band_cites_where_it_comes_from_and_channels_lie_where_they_should() -> None:
    for band in first_bands():
        assert re.match(r"RR5", band.source), band.name
        low, high = band.range_hz
        for hz in band.noise_hz:
            # In the band or just outside: broadcasting bands are emptiest beyond their edges.
            assert low - 10_000 <= hz <= high + 15_000, (band.name, hz)
        for hz in band.listen_hz:
            assert low - 50_000 <= hz <= high + 60_000, (band.name, hz)


def test_carriers_stand_where_the_published_tables_say() -> None:
    # ITU Radio Regulations, Article 5 (standard frequencies); International Beacon Project's schedule. In MHz.
    published = {2.5, 5.0, 10.0, 15.0, 20.0, 25.0, 14.100, 18.110, 21.150, 24.930, 28.200}
    steady = [
        (hz + 1000) / 1e6 for band in first_bands() if band.service == "amateur" for hz in band.carrier_hz
    ]
    # Two amateur bands lean on the broadcasters next door: 3.95-4.0 MHz and 7.2-7.45 MHz (same Article, Region 1).
    assert {each for each in steady if each not in published} == {3.955, 7.205}


def test_neighbouring_bands_share_no_channel() -> None:
    bands = chosen("all", first_bands())
    taken = [hz for band in bands for hz in (*band.noise_hz, *band.carrier_hz)]
    assert len(taken) == len(set(taken))


def test_a_frequency_that_somebody_uses_now_and_then_is_not_empty() -> None:
    heard = {
        7_010_000: [-40.0, -40.0, -10.0],
        7_020_000: [-39.0, -39.0, -39.0],
        7_030_000: [-38.0, -38.5, -38.0],
    }
    assert quietest(heard, 5000) == (7_020_000, 7_030_000)


def test_empty_frequencies_lie_apart() -> None:
    heard = {7_010_000: [-40.0], 7_011_000: [-39.0], 7_030_000: [-30.0]}
    assert quietest(heard, 7200) == (7_010_000, 7_030_000)


def test_candidates_stand_off_the_whole_kilohertz() -> None:
    found = candidates(7_030_000, 7_199_000, 2400)
    assert 10 < len(found) < 40
    assert all(hz % 1000 == 300 for hz in found)


def test_listening_finds_channels_without_carrier_and_leaves_the_receiver_as_it_was(tmp_path: Path) -> None:
    world = saltmarsh(seed=1)
    clock = JumpingClock(world.first_evening)
    with serve(world, clock, receiver="rigctl-net", switch="modbus-tcp") as served:
        file = tmp_path / "here.yaml"
        links = {("receiver", "link"): served.receiver_link, ("switch", "link"): served.switch_link}
        file.write_text(
            with_values(station_file("saltmarsh").read_text(encoding="utf-8"), links), encoding="utf-8"
        )
        station = load(file)
        receiver = open_receiver(station)
        try:
            before = receiver.tuning()
            (band,) = listen(receiver, chosen("40 m", first_bands()), "USB", 2400, 0.15, clock)
            assert receiver.tuning() == before
        finally:
            receiver.close()
        assert not served.receiver_log.forbidden
    assert band.listened and len(band.noise_hz) == 2
    carrier = next(c.hz for c in station.channels() if c.band == "40 m" and c.purpose == "carrier")
    assert all(abs(hz - carrier) > 2400 for hz in band.noise_hz)


def test_a_server_that_listens_here_is_offered() -> None:
    with serve(saltmarsh(seed=1), JumpingClock(saltmarsh(seed=1).first_evening)) as served:
        port = int(served.receiver_link.rsplit(":", 1)[1])
        assert servers((port,)) == (f"tcp://127.0.0.1:{port}",)
    assert servers((port,)) == ()


@pytest.mark.parametrize(
    ("receiver", "unit", "step_db"),
    [
        ("hamlib", "dB-over-S9", 1.0),  # strength is told in whole decibels
        ("ts480", "dB-over-S9", 6.0),  # two numbers for twelve decibels
        ("k3", "dB-over-S9", 1.2),
        ("icr8600", "dB-over-S9", 120 / 255),
        ("eb200", "dBm", None),  # no table: its readings will show it
    ],
)
def test_what_is_known_of_the_meter_is_written_down(
    receiver: str, unit: str, step_db: float | None, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    answer(monkeypatch, "", "", "", receiver, *[""] * 6)
    file = tmp_path / "home.yaml"
    new(file, listen=False, check=False)
    meter = load(file).receiver.meter
    assert meter.unit == unit
    assert meter.step_db == (step_db if step_db is None else pytest.approx(step_db, abs=0.005))


def test_every_band_offered_has_a_second_noise_channel_to_show_a_signal_on_the_first():
    assert {band.name: len(band.noise_hz) for band in first_bands() if len(band.noise_hz) < 2} == {}


def test_a_floor_on_which_the_meter_rests_is_seen_and_none_where_it_moves() -> None:
    station = load(station_file("saltmarsh"))
    resting = [Heard(band, (-54.0,) * 12) for band in ("40 m", "20 m", "10 m")]
    moving = [Heard(band, tuple(-20.0 + (nth * 7) % 5 for nth in range(12))) for band in ("40 m", "20 m")]
    unknown = station.model_copy(
        update={
            "receiver": station.receiver.model_copy(update={"meter": Meter(unit="dB-over-S9", step_db=1)})
        }
    )
    assert floor_of(resting, unknown) == -54.0
    assert floor_of(moving, unknown) is None

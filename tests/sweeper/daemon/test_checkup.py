"""What `check` calls well is what a pass takes for well."""

from sweeper.daemon.checkup import Item, check_rig
from tests.sweeper.daemon.conftest import Outpost


def items(outpost: Outpost) -> tuple[Item, ...]:
    return tuple(check_rig(outpost.station, outpost.store, outpost.clock))


def test_a_board_that_cannot_tell_where_its_relays_stand_is_not_well(outpost: Outpost) -> None:
    campaign = outpost.campaign()
    outpost.board.selected = lambda: None  # type: ignore[method-assign]
    unwell = [item for item in items(outpost) if item.part.startswith("path") and not item.well]
    assert len(unwell) == 4 and all("unknown path" in item.found for item in unwell)
    assert campaign.attempt().outcome == "failed"


def test_a_receiver_that_rounds_to_its_own_step_is_well(outpost: Outpost) -> None:
    def rounded() -> int:
        return outpost.dial.tuning_now.hz + 9

    outpost.dial.frequency_hz = rounded  # type: ignore[method-assign]
    assert all(item.well for item in items(outpost) if item.part == "tuning")
    assert outpost.campaign().attempt().outcome == "done"


def test_a_receiver_that_goes_elsewhere_is_not_well(outpost: Outpost) -> None:
    outpost.dial.frequency_hz = lambda: outpost.dial.tuning_now.hz + 10  # type: ignore[method-assign]
    assert [item.well for item in items(outpost) if item.part == "tuning"][:2] == [False, False]
    assert outpost.campaign().attempt().outcome == "skipped"


def test_everything_is_restored_and_said_so(outpost: Outpost) -> None:
    before = (outpost.dial.tuning_now, outpost.board.standing)
    last = items(outpost)[-1]
    assert last.part == "restoring" and last.well
    assert (outpost.dial.tuning_now, outpost.board.standing) == before


def test_nothing_is_said_of_a_transmitter_that_the_receiver_cannot_tell_of(outpost: Outpost) -> None:
    (asked,) = [item.found for item in items(outpost) if item.part == "transmitter"]
    assert asked.startswith("off")
    outpost.dial.tells_transmit = lambda: False  # type: ignore[method-assign]
    (not_asked,) = [item.found for item in items(outpost) if item.part == "transmitter"]
    assert "cannot tell" in not_asked and "off" not in not_asked


def test_what_the_meter_shows_of_itself_is_said_and_calls_nothing_unwell(outpost: Outpost) -> None:
    shown = [item for item in items(outpost) if item.about_meter]
    assert shown and all(item.well and item.part == "meter" for item in shown)


def test_a_meter_that_comes_late_is_told_and_nothing_that_it_showed_meanwhile(outpost: Outpost) -> None:
    moved = [(-9.0, "antenna-bypass")]

    def late() -> float:
        now_s = outpost.clock.monotonic()
        if outpost.board.standing != moved[-1][1]:
            moved.append((now_s, outpost.board.standing))
        path = next(path for at_s, path in reversed(moved) if now_s - at_s >= 0.9 or at_s == -9.0)
        return -25.0 if path.endswith("stage") else -40.0

    outpost.dial.read_power = late  # type: ignore[method-assign]
    (told,) = [item for item in items(outpost) if item.part == "settling"]
    assert not told.well and "Raise receiver.settle_s" in told.found
    assert not any(item.about_meter or item.part == "relay and meter" for item in items(outpost))


def test_a_meter_that_rests_on_its_floor_is_called_blind_by_band(outpost: Outpost) -> None:
    outpost.dial.read_power = lambda: -54.0  # type: ignore[method-assign]
    told = " ".join(item.found for item in items(outpost) if item.about_meter)
    assert "blind" in told and outpost.station.bands[0].name in told


def test_readings_that_the_station_file_calls_impossible_are_told(outpost: Outpost) -> None:
    meter = outpost.station.receiver.meter
    impossible = meter.model_copy(
        update={"floor": 100.0, "top": 101.0, "curve": ((-300.0, -400.0), (-200.0, -300.0))}
    )
    receiver = outpost.station.receiver.model_copy(update={"meter": impossible})
    station = outpost.station.model_copy(update={"receiver": receiver})
    unwell = [item.found for item in check_rig(station, outpost.store, outpost.clock) if not item.well]
    assert any("below the floor of 100" in found for found in unwell), unwell
    assert any("the curve ends at -200" in found for found in unwell), unwell


def test_a_band_with_one_noise_channel_is_told_that_a_second_would_show_a_signal_on_it(
    outpost: Outpost,
) -> None:
    noise = [channel.band for channel in outpost.station.channels() if channel.purpose == "noise"]
    lone = [band for band in dict.fromkeys(noise) if noise.count(band) == 1]
    told = [item.found for item in items(outpost) if item.part == "channels"]
    assert lone and len(told) == 1
    assert all(band in told[0] for band in lone) and "a second" in told[0]

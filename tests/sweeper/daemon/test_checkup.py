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


def test_a_band_with_one_noise_channel_is_told_that_a_second_would_show_a_signal_on_it(
    outpost: Outpost,
) -> None:
    noise = [channel.band for channel in outpost.station.channels() if channel.purpose == "noise"]
    lone = [band for band in dict.fromkeys(noise) if noise.count(band) == 1]
    told = [item.found for item in items(outpost) if item.part == "channels"]
    assert lone and len(told) == 1
    assert all(band in told[0] for band in lone) and "a second" in told[0]

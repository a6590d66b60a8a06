"""Sources through nights: followed, with their rhythm, share and change; passes as they would be seen."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from sweeper.noise.change import changes
from sweeper.noise.rhythm import rhythm
from sweeper.noise.seen import Found, Heard
from sweeper.noise.sources import sources
from sweeper.noise.split import split

BEGIN = datetime(2026, 11, 2, tzinfo=UTC)  # a Monday


def comb(every_hz: float, level_db: float = -60.0, over_db: float = 10.0) -> Found:
    return Found("comb", 7.0e6, 7.2e6, 0.02, 0.002, level_db, every_hz, 1.0, 10, over_db)


def mains(share: float = 0.2, level_db: float = -50.0) -> Found:
    return Found("mains", 7.0e6, 7.2e6, share, 0.005, level_db, 50.0)


def hump(low_hz: float, high_hz: float) -> Found:
    return Found("hump", low_hz, high_hz, 0.3, 0.01, -45.0, over_db=6.0)


def heard(
    number: int, at: datetime, *found: Found, band: str = "40 m", receiver: float | None = 0.2
) -> Heard:
    return Heard(at.timestamp(), number, band, 7.0e6, 7.2e6, -40.0, receiver, 0.01, True, found)


def nights(days: int, runs: object, every_min: int = 60) -> list[Heard]:
    """Passes all day long; `runs(at)` gives what each shows."""
    times = [BEGIN + timedelta(minutes=every_min * n) for n in range(days * 1440 // every_min)]
    return [heard(n, at, *runs(at)) for n, at in enumerate(times)]  # type: ignore[operator]


def test_a_comb_that_drifts_is_one_source_and_two_combs_are_two() -> None:
    record = [
        heard(n, BEGIN + timedelta(hours=n), comb(65_000.0 * 1.004**n), comb(31_000.0)) for n in range(10)
    ]
    one, two = sources(record)
    assert (len(one.passes), len(two.passes)) == (10, 10)
    assert two.spacing_hz[0] == 65_000.0 and two.spacing_hz[1] > 67_000.0
    assert one.name == "comb every 31 kHz"


def test_every_other_line_is_the_same_comb() -> None:
    record = [heard(n, BEGIN + timedelta(hours=n), comb(130_000.0 if n % 3 else 65_000.0)) for n in range(9)]
    assert len(sources(record)) == 1


def test_what_two_passes_show_is_no_source_yet_and_what_moves_is_no_hump() -> None:
    twice = [heard(n, BEGIN + timedelta(hours=n), comb(65_000.0)) for n in range(2)]
    assert sources(twice) == []
    moving = [heard(n, BEGIN + timedelta(hours=n), hump(7.0e6 + 2e4 * n, 7.06e6 + 2e4 * n)) for n in range(6)]
    assert sources(moving) == []


@pytest.mark.parametrize(
    ("shown_by", "found"), [((2, 9, 11), 0), ((2, 3, 7), 0), ((2, 4, 6), 1), ((0, 7, 8, 9), 1)]
)
def test_a_hump_is_seen_by_passes_close_to_each_other(shown_by: tuple[int, ...], found: int) -> None:
    """Stations side by side pass for one now and then in a night. Passes that heard another band do not count."""
    record = []
    for n in range(12):
        at = BEGIN + timedelta(minutes=12 * n)
        record += [
            heard(2 * n, at, *[hump(7.042e6, 7.068e6)] * (n in shown_by)),
            heard(2 * n + 1, at, band="20 m"),
        ]
    assert len(sources(record)) == found


def test_its_evenings_are_told_in_local_hours() -> None:
    record = nights(6, lambda at: [comb(65_000.0)] if 17 <= at.hour < 22 else [])
    (source,) = sources(record)
    told = rhythm(source, record, UTC)
    assert (told.from_h, told.to_h) == (17, 22)
    assert told.by_hour[18] == 1.0 and told.by_hour[3] == 0.0
    assert "17 to 22" in told.words[0]


def test_chance_has_no_rhythm() -> None:
    told = 0
    for seed in range(15):
        dice = np.random.default_rng(seed)
        record = nights(5, lambda at, dice=dice: [comb(65_000.0)] if dice.random() < 0.3 else [])
        (source,) = sources(record)
        told += rhythm(source, record, UTC).from_h is not None
    assert told <= 1


def test_one_night_tells_no_rhythm() -> None:
    record = nights(1, lambda at: [comb(65_000.0)] if at.hour >= 17 else [])
    (source,) = sources(record)
    assert rhythm(source, record, UTC).words == ()


def test_working_days_sun_and_notes_are_told() -> None:
    record = nights(21, lambda at: [comb(65_000.0)] if at.isoweekday() <= 5 and 8 <= at.hour < 16 else [])
    (source,) = sources(record)
    assert "working days" in " ".join(rhythm(source, record, UTC).words)
    daily = nights(6, lambda at: [comb(65_000.0)] if 8 <= at.hour < 16 else [])
    (source,) = sources(daily)
    sunny = rhythm(source, daily, UTC, sun_is_up=lambda at: 8 <= at.hour < 16)
    assert "solar" in " ".join(sunny.words)
    on_at = BEGIN + timedelta(days=1, hours=12)
    since = nights(3, lambda at: [comb(65_000.0)] if at >= on_at else [], every_min=30)
    (source,) = sources(since)
    assert "“boiler on”" in " ".join(rhythm(source, since, UTC, notes=[(on_at, "boiler on")]).words)


def test_the_split_is_the_mean_share_and_the_win_its_decibels() -> None:
    dice = np.random.default_rng(1)
    record = nights(8, lambda at: [mains(float(np.clip(dice.normal(0.2, 0.03), 0, 1))), comb(65_000.0)])
    (told,) = split(record)
    parts = {part.name: part for part in told.parts}
    assert parts["receiver"].share == pytest.approx(0.2) and parts["comb"].share == pytest.approx(0.02)
    assert parts["mains"].low < 0.2 < parts["mains"].high
    assert sum(part.share for part in told.parts) == pytest.approx(1.0)
    # without a fifth of the noise S/N rises by 10 log 1/0.8
    assert parts["mains"].gain_db[0] == pytest.approx(0.97, abs=0.1)


def test_without_a_load_the_split_names_no_receiver() -> None:
    record = [heard(n, BEGIN + timedelta(hours=n), mains(), receiver=None) for n in range(8)]
    assert [part.name for part in split(record)[0].parts] == ["mains", "comb", "hump", "rest"]


def test_the_comb_fell_and_the_rest_did_not_change() -> None:
    dice = np.random.default_rng(2)
    fix = BEGIN + timedelta(days=4)

    def runs(at: datetime) -> list[Found]:
        fell_db = 14.0 if at >= fix else 0.0
        return [comb(65_000.0, dice.normal(-60.0 - fell_db, 1.0)), mains(0.2, dice.normal(-50.0, 1.0))]

    told = {each.kind: each for each in changes(nights(8, runs), fix.timestamp())}
    assert told["comb"].verdict == "fell" and told["mains"].verdict == "unchanged"
    assert told["comb"].change_db is not None
    value, low, high = told["comb"].change_db
    assert low < -14.0 < high and value == pytest.approx(-14.0, abs=0.6)
    assert "fell by 14" in told["comb"].sentence


def test_what_is_not_seen_any_more_is_gone_by_at_least_what_would_be_seen() -> None:
    fix = BEGIN + timedelta(days=4)
    record = nights(8, lambda at: [comb(65_000.0)] if at < fix else [])
    (told,) = changes(record, fix.timestamp())
    assert told.verdict == "gone" and told.change_db is None
    assert "at least 9 dB" in told.sentence


def test_too_few_passes_say_nothing() -> None:
    record = nights(1, lambda at: [comb(65_000.0)])
    assert changes(record, (BEGIN + timedelta(hours=2)).timestamp()) == []


def test_two_supplies_of_nearly_one_frequency_are_two_sources() -> None:
    """They drift together, and come closer to where the other was than to where they were."""
    record = [
        heard(n, BEGIN + timedelta(hours=n), comb(65_500.0 * 1.003**n), comb(65_000.0 * 1.003**n))
        for n in range(8)
    ]
    assert sorted(len(each.passes) for each in sources(record)) == [8, 8]


def test_every_other_line_of_the_same_pass_is_no_second_source_of_three_passes() -> None:
    record = [heard(n, BEGIN + timedelta(hours=n), comb(65_000.0)) for n in range(4)]
    record += [heard(4, BEGIN + timedelta(hours=4), comb(65_000.0), comb(130_000.0))]
    assert len(sources(record)) == 1


def test_hours_in_which_nobody_listened_say_nothing() -> None:
    """Passes by night only: what runs by day is not known, and what is there in every pass has no rhythm."""
    record = [
        each
        for each in nights(6, lambda at: [comb(65_000.0)])
        if datetime.fromtimestamp(each.time, UTC).hour not in range(7, 17)
    ]
    (source,) = sources(record)
    told = rhythm(source, record, UTC)
    assert told.from_h is None and told.briefly == "at all hours" and np.isnan(told.by_hour[12])


def test_the_clock_change_moves_no_rhythm() -> None:
    """By the kitchen clock it runs from 17 to 22 o'clock, before the change and after it."""
    zone = ZoneInfo("Europe/Copenhagen")
    first = datetime(2026, 10, 21, tzinfo=UTC)  # summer time ends on the 25th
    record = []
    for n in range(24 * 9):
        at = first + timedelta(hours=n)
        record.append(heard(n, at, *([comb(65_000.0)] if 17 <= at.astimezone(zone).hour < 22 else [])))
    (source,) = sources(record)
    told = rhythm(source, record, zone)
    assert (told.from_h, told.to_h) == (17, 22)
    assert told.by_hour[16] == told.by_hour[22] == 0.0 and told.by_hour[17] == told.by_hour[21] == 1.0

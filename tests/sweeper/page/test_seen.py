"""What the live page says of a daemon's messages."""

from datetime import UTC, datetime, timedelta

from drivers.config_files import station_file
from sweeper.analysis import Interval, PeriodFinding
from sweeper.daemon.live.messages import OneReading, OneSpectrum, PassOver, State, Visited, Wear
from sweeper.noise.seen import Found, Heard
from sweeper.noise.told import NoiseTold, told_of
from sweeper.page.feed import Now
from sweeper.page.seen import now_seen, tonight_seen
from sweeper.page.tonight import Tonight
from sweeper.reduction import Reduced
from sweeper.report.noise_words import worth_acting
from sweeper.station import load
from tests.sweeper.report import sample

STATION = load(station_file("saltmarsh"))  # an hour ahead of UTC in winter
WHEN = datetime(2026, 11, 1, 18, 30, tzinfo=UTC)


def state(doing: str, **more: object) -> State:
    return State(station="Saltmarsh", time=WHEN, since=WHEN, doing=doing, **more)  # type: ignore[arg-type]


def visit(source: str = "antenna", route: str = "stage", flags: str = "") -> Visited:
    values = (-44.0, -42.0)
    return Visited(
        station="Saltmarsh",
        pass_number=7,
        nth=3,
        visits=12,
        band="40 m",
        hz=7_038_500,
        purpose="noise",
        source=source,  # type: ignore[arg-type]
        route=route,  # type: ignore[arg-type]
        bandwidth_hz=2400,
        readings=tuple(OneReading(time=WHEN, reading=value, dbm=None, flags=flags) for value in values),
    )


def heard(levels: tuple[float | None, ...], **path: str) -> Visited:
    one = OneSpectrum(start_hz=7e6, step_hz=1000.0, levels_db=levels)
    return visit(**path).model_copy(update={"spectrum": one})


def humps(band: str) -> NoiseTold:
    """One from 7001 to 7040 kHz, another far above."""
    both = tuple(Found("hump", hz, hz + 39e3, 0.1, 0.01, -50.0, over_db=4.0) for hz in (7.001e6, 7.1e6))
    return told_of(
        [Heard(1.7e9 + n, n, band, 7e6, 7.2e6, -40.0, 0.3, 0.01, True, both) for n in range(5)], UTC
    )


def test_the_spectrum_being_taken_is_shown_path_by_path_on_one_scale() -> None:
    now = Now(state=state("measuring"), alive=True)
    assert now_seen(now, STATION)["spectrum"] is None
    now.last_visits["40 m", 7_038_500, "antenna-bypass"] = heard((-70.0, None, -20.0), route="bypass")
    now.last_visits["40 m", 7_038_500, "antenna-stage"] = heard((-60.0, -61.0, -5.0))
    now.last_visits["20 m", 14_100_000, "antenna-stage"] = visit()
    now.looked_at = "40 m", 7_038_500
    assert now_seen(now, STATION)["spectrum"] == {
        "heading": "40 m, 7000 to 7002 kHz",
        "scale": "−70.0 to −5.0 dB of full scale",
        "low": -70.0,
        "high": -5.0,
        "humps": [],
        "lines": {"antenna-bypass": [-70.0, None, -20.0], "antenna-stage": [-60.0, -61.0, -5.0]},
    }
    told = now_seen(now, STATION, humps("40 m"))["spectrum"]
    assert told["humps"] == [[0.5, 1.0]]
    assert told["heading"] == "40 m, 7000 to 7002 kHz; bracket: hump 7001–7040 kHz"
    assert now_seen(now, STATION, humps("20 m"))["spectrum"]["humps"] == []
    now.last_visits["40 m", 7_038_500, "antenna-bypass"] = heard((None,))
    now.last_visits["40 m", 7_038_500, "antenna-stage"] = heard((None,))
    assert now_seen(now, STATION)["spectrum"] is None


def over(**more: object) -> PassOver:
    told: dict[str, object] = {"outcome": "done", "because": "", "readings": 96, "relay_operations": 4}
    return PassOver(station="Saltmarsh", pass_number=6, started=WHEN, ended=WHEN, **(told | more))  # type: ignore[arg-type]


def test_without_a_daemon_it_says_so_and_what_to_do() -> None:
    seen = now_seen(Now(), STATION)
    assert (seen["heading"], seen["alive"], seen["doing"]) == ("No daemon is running", False, "gone")
    assert "sweeper run" in seen["why"]


def test_during_a_visit_band_path_and_progress_are_told() -> None:
    now = Now(state=state("measuring"), alive=True, visiting=visit())
    now.last_visits["40 m", 7_038_500, "antenna-stage"] = visit(flags="floor")
    seen = now_seen(now, STATION)
    assert seen["heading"] == "Measuring 40 m, antenna, stage in"
    assert seen["relays"] == "antenna, stage in"
    assert seen["progress"] == {"pass": 7, "nth": 3, "visits": 12}
    (row,) = seen["paths"]
    assert row["cells"]["antenna-stage"] == {
        "low": "−44.0",
        "high": "−42.0",
        "time": "19:30:00",
        "flags": "floor",
    }
    assert "sweeper" in seen["holder"]


def test_while_it_stands_back_the_receiver_is_somebody_elses() -> None:
    seen = now_seen(Now(state=state("yielding", because="The dial was turned."), alive=True), STATION)
    assert seen["holder"].startswith("you")
    assert seen["why"] == "The dial was turned."


def test_relays_that_could_not_be_put_to_rest_are_not_called_at_rest() -> None:
    left = over(outcome="failed", because="The board did not answer.", left_over=("relays",))
    seen = now_seen(Now(state=state("waiting", last_pass=left), alive=True), STATION)
    assert seen["relays"].startswith("not at rest")


def test_wear_next_pass_and_passes() -> None:
    wear = Wear(operations=81_000, rated=100_000, share=0.81, warning="order a relay")
    now = Now(state=state("waiting", wear=wear, next_pass=WHEN + timedelta(minutes=12)), alive=True)
    now.passes.append(over())
    seen = now_seen(now, STATION)
    assert seen["wear"] == "81 000 of 100 000 operations (81.0%). order a relay"
    assert seen["next"] == "19:42"
    assert [each["number"] for each in seen["passes"]] == [6]


def test_during_a_pass_nobody_says_that_none_is_planned() -> None:
    for doing, said in (("measuring", "after this one"), ("paused", "none planned")):
        assert now_seen(Now(state=state(doing), alive=True), STATION)["next"] == said


def test_intervals_close_in_pass_by_pass_and_begin_anew_with_the_hour() -> None:
    tonight, found = Tonight(), sample.findings("40 m", verdict="undecided")
    reduced = Reduced(found, (), lambda: sample.tables(found))
    for passes, half, hour in ((2, 5.0, 18), (3, 2.0, 18), (3, 2.0, 18), (1, 9.0, 19)):
        band = found.bands[0]
        period = PeriodFinding(
            hour, passes, 1, Interval(1.0, 1 - half, 1 + half), None, None, "undecided", (), "Why."
        )
        object.__setattr__(band, "periods", (period,))
        tonight.take(reduced, hour)
        steps = [step.passes for step in tonight.steps["40 m"]]
        assert steps == {(2, 18): [2], (3, 18): [2, 3], (1, 19): [1]}[passes, hour]
    (band_seen,) = tonight_seen(tonight, STATION)["bands"]
    assert band_seen["change"] == "20:00: +1.0 (−8.0 to +10.0) dB"
    assert band_seen["steps"] == [[1.0, -8.0, 10.0]]


def test_a_costly_source_of_noise_is_named_as_the_report_names_it() -> None:
    found = sample.findings("40 m")
    hum = Found("mains", 7.0e6, 7.2e6, 0.3, 0.005, -50.0, 50.0)
    told = told_of(
        [Heard(1.7e9 + n, n, "40 m", 7e6, 7.2e6, -40.0, 0.3, 0.01, True, (hum,)) for n in range(5)], UTC
    )
    for noise, said in ((told, worth_acting(told, found.worthwhile_db)), (None, "")):
        tonight = Tonight()
        tonight.take(Reduced(found, (), lambda: sample.tables(found)), 18, noise)
        assert tonight_seen(tonight, STATION)["local_noise"] == said
    assert "up to 1.5 dB on 40 m: mains-synchronous noise" in worth_acting(told, found.worthwhile_db)


def test_a_band_without_readings_is_listed_and_says_why() -> None:
    tonight, found = Tonight(), sample.findings("40 m")
    object.__setattr__(found.bands[0], "periods", ())
    tonight.take(Reduced(found, (), lambda: sample.tables(found)), 18)
    (band,) = tonight_seen(tonight, STATION)["bands"]
    assert (band["change"], band["state"], band["reason"]) == ("–", "open", "40 m: do what it says.")

"""docs/station-file.md names every key, and what it shows is a station file."""

import re
from collections.abc import Iterator
from pathlib import Path

from pydantic import BaseModel

from sweeper.plan import budget, path_order
from sweeper.schedule import next_times
from sweeper.station import Station, load, sections
from sweeper.station.moments import SUN_EVENTS
from tests.sweeper.schedule.test_times import utc

PAGE = (Path(__file__).parents[3] / "docs" / "station-file.md").read_text(encoding="utf-8")


def keys_of(model: type[BaseModel]) -> Iterator[str]:
    for name, field in model.model_fields.items():
        if name == "options":
            continue
        yield field.alias or name
        for inner in re.findall(r"station\.(?:sections|running)\.(\w+)", repr(field.annotation)):
            yield from keys_of(getattr(sections, inner))


def test_every_key_is_named() -> None:
    keys = set(keys_of(Station))
    assert {"hz", "for", "every", "metrics_port", "uncertainty_db"} <= keys
    words = set(re.findall(r"[`*.]([a-z0-9_]+)[`*:]", PAGE))
    assert keys - words == set()


def test_the_page_names_the_sun_events() -> None:
    named = {event for event in SUN_EVENTS if event in PAGE}
    assert {
        "sunrise",
        "sunset",
        "noon",
        "dawn",
        "dusk",
        "civil dawn",
        "nautical dusk",
        "astronomical dawn",
    } <= named


def test_the_example_is_a_station_with_a_plan_and_a_schedule(tmp_path: Path) -> None:
    file = tmp_path / "saltmarsh.yaml"
    file.write_text(PAGE.split("```yaml\n")[1].split("```")[0], encoding="utf-8")
    station = load(file)
    assert len(station.paths()) == 6
    assert len(path_order(station, 1)) == 8
    assert budget(station).relay_years is not None
    assert len(next_times(station, utc("2026-11-01T00:00"), 10)) == 10

"""What the documentation shows runs as it is shown."""

import re
from pathlib import Path

PAGE = Path(__file__).parents[3] / "docs" / "simulated-station.md"


def test_the_example_of_serving_runs() -> None:
    (example,) = re.findall(r"```python\n(.*?)```", PAGE.read_text(encoding="utf-8"), flags=re.DOTALL)
    seen: dict[str, object] = {}
    exec(compile(example, str(PAGE), "exec"), seen)
    assert seen["served"].forbidden == ()  # type: ignore[attr-defined]


def test_every_file_that_the_page_names_is_there() -> None:
    folder = PAGE.parents[1] / "sweeper" / "simulation"
    rows = re.findall(r"^\| (`.*?`) \|", PAGE.read_text(encoding="utf-8"), flags=re.MULTILINE)
    named = {name for row in rows for name in re.findall(r"`(\w+)`", row)}
    there = {file.stem for file in folder.glob("*.py")} - {"__init__"}
    assert named <= there
    # What only holds data or helps one of the others need not be named.
    assert there - named <= {"chance", "forwarding", "meter_tables", "modbus_frames", "pass_tables"}

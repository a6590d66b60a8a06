"""Values in a station file can be changed without touching what a person wrote around them."""

from pathlib import Path

from sweeper.station import load
from sweeper.station.rewrite import with_values
from tests.sweeper.station.files import RIGHT


def test_a_value_changes_and_comments_stay(tmp_path: Path) -> None:
    text = RIGHT.replace("  mode: USB\n", "  mode: USB  # the wide one\n")
    changed = with_values(
        text, {("receiver", "link"): "/dev/ttyUSB0", ("receiver", "meter", "curve"): [[0, -73], [10, -63]]}
    )
    assert "mode: USB  # the wide one" in changed
    assert (
        next(line for line in changed.splitlines() if line not in text.splitlines()) == "  link: /dev/ttyUSB0"
    )
    file = tmp_path / "changed.yaml"
    file.write_text(changed)
    station = load(file)
    assert (station.receiver.link, station.receiver.meter.curve) == ("/dev/ttyUSB0", ((0, -73), (10, -63)))


def test_a_missing_section_is_added_and_an_item_of_a_list_can_be_reached() -> None:
    changed = with_values(
        "bands:\n  - name: 40 m\n", {("live", "metrics_port"): 9105, ("bands", 0, "name"): "7 MHz"}
    )
    assert changed == "bands:\n  - name: 7 MHz\nlive:\n  metrics_port: 9105\n"

"""Adding a receiver takes one YAML file, and the page that says so is right."""

import re
from pathlib import Path

from drivers.receivers.dialect import DRIVER, Options
from sweeper.simulation import saltmarsh, serve
from tests.clocks import evening

PAGE = Path(__file__).parents[3] / "DEVELOPERS.md"


def test_the_file_on_the_page_drives_a_receiver(tmp_path: Path) -> None:
    page = PAGE.read_text(encoding="utf-8").partition("## Add a receiver in one YAML file")[2]
    assert 10 < page.count("\n") < 40
    example = re.search(r"```yaml\n(.*?)```", page, re.DOTALL)
    assert example is not None
    mine = tmp_path / "mine.yaml"
    mine.write_text(example[1])
    with serve(saltmarsh(), evening(), receiver="ts480") as served:
        receiver = DRIVER.open(Options(link=served.receiver_link, dialect=str(mine)))
        found = receiver.remember()
        assert receiver.prepare() == ("pass band",)
        receiver.set_mode("USB", 2400)
        receiver.tune(7_038_500)
        assert (served.receiver.hz, served.receiver.mode) == (7_038_500, "USB")
        assert -54 <= receiver.read_power() <= 60
        receiver.restore(found)
        assert receiver.remember() == found
        receiver.close()
        assert not served.receiver_log.forbidden

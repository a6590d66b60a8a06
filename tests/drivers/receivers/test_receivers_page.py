"""The sections on the page about receivers are taken as they stand by the drivers they name."""

import re
from importlib.metadata import entry_points
from pathlib import Path

import pytest
from ruamel.yaml import YAML

from drivers.config_files import dialect_names

PAGE = (Path(__file__).parents[3] / "docs" / "receivers.md").read_text()
SECTIONS = [YAML(typ="safe").load(text) for text in re.findall(r"```yaml\n(.*?)```", PAGE, re.DOTALL)]
COMMON = ("driver", "settle_s", "rest", "audio", "spectrum")


@pytest.mark.parametrize("section", SECTIONS, ids=lambda section: section["driver"])
def test_a_section_of_the_page_is_valid(section: dict[str, object]) -> None:
    (point,) = entry_points(group="sweeper.drivers", name=str(section["driver"]))
    point.load().options.model_validate({key: to for key, to in section.items() if key not in COMMON})


def test_the_page_names_every_dialect_that_comes_with_the_program() -> None:
    assert all(f"`{name}`" in PAGE for name in dialect_names())

"""Changing values in the text of a station file while keeping its comments and its order."""

from collections.abc import Mapping
from io import StringIO
from typing import Any

Keys = tuple[str | int, ...]


def with_values(text: str, values: Mapping[Keys, Any]) -> str:
    """The text with each key, such as ``("receiver", "link")``, set to a plain value; missing sections are added."""
    from ruamel.yaml import YAML

    yaml = YAML(typ="rt", pure=True)
    yaml.preserve_quotes = True
    yaml.width = 4096
    yaml.indent(mapping=2, sequence=4, offset=2)
    content = yaml.load(text) or yaml.map()
    for keys, value in values.items():
        section = content
        for key in keys[:-1]:
            if isinstance(section, dict) and not isinstance(section.get(key), dict | list):
                section[key] = yaml.map()
            section = section[key]
        section[keys[-1]] = value
    written = StringIO()
    yaml.dump(content, written)
    return written.getvalue()

"""The files of the pages as they are sent: style sheets and scripts, by their names in `templates`."""

from importlib.resources import files


def text_of(name: str) -> str:
    """A file of `templates` as it is."""
    return (files("sweeper.page") / "templates" / name).read_text(encoding="utf-8")


def script_of(name: str) -> str:
    """A page's script, with what all of them share in front of it."""
    return text_of("painting.js") + text_of(name)

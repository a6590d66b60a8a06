"""Every command that README and docs show exists, with the options that they give it."""

import re
import shlex
from pathlib import Path

import pytest
import typer.main

from sweeper.cli.app import app

ROOT = Path(__file__).parents[3]
PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]
COMMANDS = typer.main.get_command(app).commands  # type: ignore[attr-defined]
SHOWN = re.compile(
    r"(?:^|`|&& |-u sweeper )(?:[./\w]*bin/)?sweeper ((?:[a-z-]+)(?: [^`\n#&]*)?)", re.MULTILINE
)


def shown(page: Path) -> list[str]:
    return [found.strip() for found in SHOWN.findall(page.read_text(encoding="utf-8"))]


def options_of(name: str) -> set[str]:
    return {option for param in COMMANDS[name].params for option in (*param.opts, *param.secondary_opts)} | {
        "--help",
        "-h",
    }


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_what_a_page_shows_is_a_command_with_such_options(page: Path) -> None:
    for line in shown(page):
        words = shlex.split(line.replace("…", ""), posix=True) if line.count('"') % 2 == 0 else line.split()
        if words[0].startswith("-") or words[0] == "and":
            continue
        assert words[0] in COMMANDS, f"{page.name}: sweeper {line}"
        known = options_of(words[0])
        for word in words[1:]:
            if word.startswith("-") and len(word) > 1:
                assert word.split("=")[0].rstrip(".,;:)") in known, f"{page.name}: sweeper {line}"


def test_the_readme_shows_what_a_newcomer_types() -> None:
    named = {line.split()[0] for line in shown(ROOT / "README.md")}
    assert {"demo", "ab", "new", "check", "plan", "run", "report", "serve", "compare", "simulate"} <= named

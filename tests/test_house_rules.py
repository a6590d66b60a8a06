"""What holds for every file of the project."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
OURS = [each for each in ROOT.iterdir() if each.name == ".ci" or not each.name.startswith(".")]
TEXTS = sorted(
    file
    for ours in OURS
    for file in (ours.rglob("*") if ours.is_dir() else (ours,))
    if file.suffix
    in {".py", ".md", ".yaml", ".yml", ".toml", ".txt", ".js", ".css", ".html", ".j2", ".service", ""}
    and not {part for part in file.relative_to(ours).parts if part.startswith(".")}
    and not {"build", "dist", "__pycache__", "saltmarsh"} & set(file.relative_to(ROOT).parts)
    and file.is_file()
    and file != Path(__file__)
)

FORBIDDEN = {
    "a folder of one computer": re.compile(r"(?<![\w.$}{])/(work|root|Users)/\w"),
    "a registry's host": re.compile(r"\b(pypi\.org|pythonhosted\.org|registry\.npmjs\.org)\b"),
    "work put off": re.compile(r"\b(TODO|FIXME|XXX)\b"),
    "a merge left half done": re.compile(r"^(<{7}|>{7}) ", re.MULTILINE),
}


@pytest.mark.parametrize("what", FORBIDDEN)
def test_no_file_holds(what: str) -> None:
    found = [
        f"{file.relative_to(ROOT)}:{text.count(chr(10), 0, hit.start()) + 1}: {hit[0]}"
        for file in TEXTS
        for text in [file.read_text(encoding="utf-8")]
        for hit in FORBIDDEN[what].finditer(text)
    ]
    assert found == []


def test_names_of_files_say_what_is_in_them() -> None:
    """A place for everything is a place where nothing is found."""
    empty = re.compile(r"^(utils?|helpers?|managers?|misc|common|stuff)(_|$)|_(utils?|helpers?|managers?)$")
    assert [file for file in TEXTS if empty.search(file.stem)] == []


def test_links_between_documents_lead_somewhere() -> None:
    broken = [
        f"{page.relative_to(ROOT)}: {target}"
        for page in TEXTS
        if page.suffix == ".md"
        for target in re.findall(r"\]\((?!https?:|#|mailto:)([^)#\s]+)", page.read_text(encoding="utf-8"))
        if not (page.parent / target).exists()
    ]
    assert broken == []


def test_the_rules_look_at_the_whole_project() -> None:
    looked_at = {file.relative_to(ROOT).parts[0] for file in TEXTS}
    assert {"README.md", ".ci", "configs", "docs", "drivers", "sweeper", "systemd", "tests"} <= looked_at

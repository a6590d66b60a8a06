"""Puts what a benchmark measured into a page of the docs, between the comments that name the benchmark."""

from pathlib import Path


def write_between(page: Path, name: str, text: str) -> None:
    """Replace what stands between ``<!-- name -->`` and ``<!-- /name -->``; ValueError where that is missing."""
    begin, end = f"<!-- {name} -->\n", f"<!-- /{name} -->"
    before, found, rest = page.read_text(encoding="utf-8").partition(begin)
    _, closed, after = rest.partition(end)
    if not found or not closed:
        raise ValueError(f"{page} has no place for {name}")
    page.write_text(f"{before}{begin}{text.rstrip()}\n{end}{after}", encoding="utf-8")

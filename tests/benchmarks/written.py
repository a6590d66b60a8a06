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


def write_row(page: Path, name: str, head: str, row: str) -> None:
    """Put a row of a table there in place of the one of the same first cell, or after the last; a table with another
    head is begun anew.
    """
    _, _, rest = page.read_text(encoding="utf-8").partition(f"<!-- {name} -->\n")
    told, closed, _ = rest.partition(f"<!-- /{name} -->")
    rows = told.rstrip().removeprefix(head).strip().split("\n") if closed and told.startswith(head) else []
    first = row.split("|")[1]
    kept = {each.split("|")[1]: each for each in rows if each} | {first: row}
    write_between(page, name, "\n".join([head, *kept.values()]))

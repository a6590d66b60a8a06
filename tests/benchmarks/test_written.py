"""A benchmark writes into its own place of a page, and nowhere else."""

from pathlib import Path

import pytest

from tests.benchmarks.written import write_between, write_row


def test_its_own_place_alone(tmp_path: Path) -> None:
    page = tmp_path / "page.md"
    page.write_text("before\n<!-- one -->\nold\n<!-- /one -->\nafter <!-- two --> more\n", encoding="utf-8")
    write_between(page, "one", "new\nrows\n")
    assert page.read_text(encoding="utf-8") == (
        "before\n<!-- one -->\nnew\nrows\n<!-- /one -->\nafter <!-- two --> more\n"
    )


def test_a_page_without_it_is_left_alone(tmp_path: Path) -> None:
    page = tmp_path / "page.md"
    page.write_text("<!-- one -->\nold\n", encoding="utf-8")
    with pytest.raises(ValueError, match="no place for one"):
        write_between(page, "one", "new")
    assert page.read_text(encoding="utf-8") == "<!-- one -->\nold\n"


def test_a_row_takes_the_place_of_its_last_and_leaves_the_others(tmp_path: Path) -> None:
    page = tmp_path / "page.md"
    page.write_text("<!-- one -->\n| old head |\n| 0 |\n<!-- /one -->\nafter\n", encoding="utf-8")
    head = "| a | b |\n| --- | --- |"
    for row in ("| x | 1 |", "| y | 2 |", "| x | 3 |"):
        write_row(page, "one", head, row)
    assert page.read_text(encoding="utf-8") == (
        f"<!-- one -->\n{head}\n| x | 3 |\n| y | 2 |\n<!-- /one -->\nafter\n"
    )

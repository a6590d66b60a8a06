"""A report written from invented findings, and what a browser would make of it."""

from html.parser import HTMLParser
from pathlib import Path

from sweeper.report.page import write_html
from sweeper.report.setting import Setting
from tests.sweeper.report import sample


class Page(HTMLParser):
    """What a browser would make of it: elements in order, with the text of each heading and link."""

    def __init__(self, markup: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.headings: list[str] = []
        self.text: list[str] = []
        self._heading = False
        self._hidden = False
        self.feed(markup)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        self._heading = tag in ("h1", "h2", "h3")
        self._hidden = tag in ("style", "script")
        if self._heading:
            self.headings.append("")

    def handle_endtag(self, tag: str) -> None:
        self._heading = self._heading and tag not in ("h1", "h2", "h3")
        self._hidden = self._hidden and tag not in ("style", "script")

    def handle_data(self, data: str) -> None:
        if self._heading:
            self.headings[-1] += data
        if not self._hidden:
            self.text.append(data)

    def of(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.elements if name == tag]


def written(file: Path, **more: object) -> str:
    found = sample.findings()
    write_html(
        found,
        sample.tables(found, calibrated=True),
        sample.passes(),
        file,
        **{  # type: ignore[arg-type]
            "setting": Setting("Europe/Copenhagen", "dB over S9", 100_000, 1234),
            "comparison": sample.comparison(found),
            **more,
        },
    )
    return file.read_text(encoding="utf-8")

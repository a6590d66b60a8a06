"""What a picture is to the page: a finding as its title, a drawing, its numbers, and words for who cannot see it."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Numbers:
    """A table: headings, and rows of cells as text. The first cell of a row heads it."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Picture:
    """`svg` is finished markup made here from escaped text; everything else is plain text, escaped by the template."""

    name: str
    title: str
    svg: str
    caption: str
    numbers: Numbers

    @property
    def wide(self) -> bool:
        """Whether a phone shows only a part of it at a time."""
        return 'class="picture"' in self.svg

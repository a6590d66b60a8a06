"""A page is written whole or not at all, and a place where none can be written is told before any drawing.

Files only; what is in them is not looked at.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sweeper.errors import WrongInput
from sweeper.store import replace_whole


def writable(file: Path) -> None:
    """`WrongInput` when `file` is a folder or lies in none."""
    with _told(file):
        if file.is_dir():
            raise WrongInput(f"{file}: this is a folder, so no page was written. Name a file in it.")
        if not file.parent.is_dir():
            raise WrongInput(
                f"{file}: there is no folder {file.parent}, so no page was written. Make it, or name another file."
            )


def write_page(file: Path, page: str | bytes) -> None:
    """The page in its file. `WrongInput` when the disk or its permissions do not allow it."""
    with _told(file):
        replace_whole(file, page.encode() if isinstance(page, str) else page)


@contextmanager
def _told(file: Path) -> Iterator[None]:
    try:
        yield
    except OSError as fault:
        raise WrongInput(
            f"{file}: the page cannot be written there ({fault.strerror}); what was there before is untouched. "
            "Make room or permit it, or name another file."
        ) from fault

"""Progress of long work, on standard error and only where that is a terminal."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from sweeper.printable import printable, terminal_of


@contextmanager
def progress(what: str) -> Iterator[Callable[[float], None]]:
    """A bar with the time left; the value handed out takes the share done, 0 to 1."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    console = Console(file=terminal_of(sys.stderr))
    columns = (TextColumn("{task.description}"), BarColumn(), TextColumn("{task.percentage:>3.0f} %"))
    with Progress(*columns, TimeRemainingColumn(), console=console, disable=not console.is_terminal) as bar:
        task = bar.add_task(printable(what), total=1.0)
        yield lambda share: bar.update(task, completed=share)

"""The console that everything is printed on: at most 80 columns, in colour on a terminal, plain elsewhere.

Text from files goes in as text, never as markup. Loads quickly: somebody at the rig waits for the first picture.
"""

import sys

from rich.console import Console, ConsoleOptions, ConsoleRenderable, RenderHook, RenderResult
from rich.segment import Segment
from rich.table import Table

from sweeper.analysis import State
from sweeper.printable import printable, terminal_of

WIDTH = 80
STYLES: dict[State, str] = {
    "in": "bold cyan",
    "out": "bold yellow",
    "same": "",
    "open": "dim",
    "fault": "bold red",
}


class _AsText(RenderHook):
    """All text of a console through `printable`; its colours stay."""

    def process_renderables(self, renderables: list[ConsoleRenderable]) -> list[ConsoleRenderable]:
        return [_Cleaned(each) for each in renderables]


class _Cleaned:
    def __init__(self, inner: ConsoleRenderable) -> None:
        self._inner = inner

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        for segment in console.render(self._inner, options):
            yield segment if segment.control else Segment(printable(segment.text), segment.style)


def open_console(on_stderr: bool = False) -> Console:
    """A console on which nothing that a name or a receiver says steers the terminal; `WIDTH` columns at most."""
    stream = terminal_of(sys.stderr if on_stderr else sys.stdout)
    console = Console(file=stream, highlight=False, soft_wrap=False)
    console.push_render_hook(_AsText())
    # Without a terminal there is no width to go by; with a wide one, long lines would be hard to read.
    console.width = min(console.width, WIDTH) if console.is_terminal else WIDTH
    return console


def open_table(*columns: tuple[str, str]) -> Table:
    """Columns as (heading, justification ``left``/``right``)."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold", expand=False)
    for heading, justify in columns:
        table.add_column(
            heading,
            justify="right" if justify == "right" else "left",
            no_wrap=justify != "wrap",
            overflow="fold",
        )
    return table

"""An attended A/B test on the terminal: how it goes, and its result. Prints, and computes nothing."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.live import Live
from rich.text import Text

from sweeper.attended.view import Attended, View
from sweeper.report.ab_picture import Picture, clock
from sweeper.report.ab_terminal import show_result
from sweeper.report.ab_words import remarks
from sweeper.report.console import open_console

STANDING_S = 10.0
"""Without a terminal so often how it stands."""

CLAIM = "This holds for this tuning and this hour."


@contextmanager
def live() -> Iterator[Callable[[View], None]]:
    """A picture that is drawn anew; gone at the end."""
    with Live(console=open_console(on_stderr=True), auto_refresh=False, transient=True) as shown:
        yield lambda view: shown.update(Picture(view), refresh=True)


@contextmanager
def lines() -> Iterator[Callable[[View], None]]:
    """A line when there is something new to do, and now and then how it stands."""
    console = open_console(on_stderr=True)
    said: dict[str, str] = {}
    stood_s = -STANDING_S

    def say(view: View, sign: str, text: str) -> None:
        if text and said.get(sign) != text:
            console.print(Text(f"{clock(view.elapsed_s)} {sign} {text}"), soft_wrap=True)
        said[sign] = text

    def tell(view: View) -> None:
        nonlocal stood_s
        if not view.by_hand or not view.next.startswith("Wait: "):
            say(view, "NEXT", view.next)
        else:
            said["NEXT"] = ""
        say(view, "ODD", view.trouble)
        if view.elapsed_s >= stood_s + STANDING_S:
            stood_s = view.elapsed_s
            say(view, "ANSWER", view.answer)
            say(view, "TAKES", view.still)
            if "SEEN" not in said or not view.sight:
                say(view, "SEEN", view.sight)

    yield tell


def show_attended(attended: Attended, station_file: str | None) -> None:
    """The result: its sentence, the figures, what was odd, and how far it holds."""
    console = open_console()
    show_result(console, attended.result)
    console.print()
    for line in remarks(attended):
        console.print(Text(line, "dim"))
    more = (
        f"`sweeper run {station_file}`" if station_file is not None else "`sweeper run`, with a station file,"
    )
    console.print(Text(f"{CLAIM} {more} tells about nights."))

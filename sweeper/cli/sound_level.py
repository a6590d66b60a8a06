"""`check --level`: a bar that lives while somebody sets the level of the receiver's sound."""

import sys
from typing import TYPE_CHECKING

from sweeper.printable import terminal_of

if TYPE_CHECKING:
    from sweeper.daemon.sound_level import Level
    from sweeper.station import Station
    from sweeper.store import Store

WIDTH = 40
LOWEST_DB = -100.0
TICKS_EVERY = 20


def show_level(station: "Station", store: "Store") -> None:
    """Until Ctrl-C, or for ten minutes; relays and receiver are put back. A `RigError` as it comes."""
    from rich.console import Console
    from rich.live import Live

    from sweeper.clock import SystemClock
    from sweeper.daemon.run.orders import Orders, stop_on_signals
    from sweeper.daemon.sound_level import levels

    orders = Orders()
    stop_on_signals(orders)
    console = Console(file=terminal_of(sys.stdout))
    console.print(
        "Turn the receiver's line level, or the sound card's input: peaks left of the last mark with the stage in, and "
        "the load 10 dB over the card's own noise. Ctrl-C ends."
    )
    with Live(console=console, auto_refresh=False, transient=False) as live:
        for level in levels(station, store, SystemClock(), orders.wake):
            live.update(bar(level), refresh=True)
            if not console.is_terminal:
                console.print(bar(level))


def bar(level: "Level") -> str:
    """One line: the path, noise as a bar with its peak, both as numbers, and what to turn."""

    def place(db: float) -> int:
        return round(WIDTH * min(max((db - LOWEST_DB) / -LOWEST_DB, 0.0), 1.0))

    filled, peak, most = place(level.rms_db), place(level.peak_db), place(-3.0)
    cells = ["█" if n < filled else "·" for n in range(WIDTH + 1)]
    cells[most] = "|"
    cells[min(peak, WIDTH)] = "▌"
    over = "" if level.over_card_db is None else f", {level.over_card_db:.0f} dB over the card"
    numbers = f"{level.rms_db:4.0f} dB, peaks {level.peak_db:4.0f} dB{over}"
    return f"{level.path!s:14} {''.join(cells)} {numbers}: {level.advice}"

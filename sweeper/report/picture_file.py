"""One picture by itself, to send or print: PNG or SVG, in the light scheme: nobody knows where it will be looked at."""

import io
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sweeper.errors import WrongInput
from sweeper.report.palette import LIGHT
from sweeper.report.whole_file import writable, write_page

if TYPE_CHECKING:
    from matplotlib.figure import Figure

KINDS = (".png", ".svg")
WIDE_IN, DOTS_AN_INCH = 8.4, 150


def write_drawn(file: Path, draw: Callable[[str], bytes]) -> None:
    """Write what `draw` makes of ``png`` or ``svg``, whole or not at all.

    `WrongInput` for another kind of file, or no place for it.
    """
    if file.suffix.lower() not in KINDS:
        raise WrongInput(f"{file}: a picture is {' or '.join(KINDS)}; name it so.")
    writable(file)
    write_page(file, draw(file.suffix.lower().removeprefix(".")))


def drawn(kind: str, high_in: float, fill: "Callable[[Figure], None]") -> bytes:
    """What `fill` puts on a sheet `WIDE_IN` wide, as ``png`` or ``svg``; the same for the same."""
    import matplotlib
    from matplotlib.figure import Figure

    settings: dict[Any, Any] = {"svg.fonttype": "none", "svg.hashsalt": "sweeper", "text.parse_math": False}
    with matplotlib.rc_context(settings):
        figure = Figure(figsize=(WIDE_IN, high_in), facecolor=LIGHT["ground"])
        fill(figure)
        file = io.BytesIO()
        made = {"Date": None} if kind == "svg" else {"Software": None}
        figure.savefig(file, format=kind, dpi=DOTS_AN_INCH, facecolor=LIGHT["ground"], metadata=made)
    return file.getvalue()

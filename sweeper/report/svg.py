"""From a matplotlib figure to SVG that lives inside a page: its colours are names, its text is text.

matplotlib is given a stand-in colour for each name; here the stand-ins become references to the page's style sheet, so
that one drawing serves the light and the dark scheme. Style attributes become presentation attributes, which a strict
content-security policy lets pass.
"""

import io
import re
from collections.abc import Iterator
from contextlib import contextmanager
from html import escape

import matplotlib
from matplotlib.figure import Figure

from sweeper.report import palette

_NAMES = tuple(palette.named("light"))
_STAND_INS = {name: f"#fe{index:02x}01" for index, name in enumerate(_NAMES)}
_BACK = {value: name for name, value in _STAND_INS.items()}


PIXELS_A_POINT = 1.5
"""How large a picture is where there is room: its letters come out as large as those around it."""


NARROW = 4.9
"""Inches of a picture that a phone can show whole, its letters still large enough to read."""


def colour(name: str) -> str:
    """What to give matplotlib for a colour of the palette."""
    return _STAND_INS[name]


@contextmanager
def drawing() -> Iterator[None]:
    """Settings under which every picture is drawn. No display, no fonts of this machine in the result."""
    ink, rule = colour("ink"), colour("rule")
    settings = matplotlib.rc_context(
        {
            "svg.fonttype": "none",
            "svg.hashsalt": "sweeper",
            "font.size": 11,
            "text.color": ink,
            "axes.labelcolor": ink,
            "axes.edgecolor": rule,
            "axes.facecolor": "none",
            "figure.facecolor": "none",
            "savefig.facecolor": "none",
            "axes.spines.top": False,
            "axes.spines.right": False,
            "axes.axisbelow": True,
            "axes.unicode_minus": True,
            "xtick.color": rule,
            "ytick.color": rule,
            "xtick.labelcolor": ink,
            "ytick.labelcolor": ink,
            "grid.color": rule,
            "grid.linewidth": 0.6,
            "path.simplify": True,
            "hatch.linewidth": 0.5,
            "text.parse_math": False,  # A dollar sign in a band's name is a dollar sign.
        }
    )
    with settings:
        yield


def sheet(width: float, height: float) -> Figure:
    """An empty figure of so many inches."""
    return Figure(figsize=(width, height))


def inline(figure: Figure, name: str, title: str, alternative: str) -> str:
    """The figure as an ``<svg>`` element. `name` makes its ids unique in the page; texts are escaped here."""
    file = io.StringIO()
    figure.savefig(file, format="svg", bbox_inches="tight", pad_inches=0.05, metadata={"Date": None})
    text = file.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(r"<!--.*?-->", "", text, flags=re.DOTALL)
    text = re.sub(r'<style type="text/css">.*?</style>', "", text, flags=re.DOTALL)
    text = re.sub(r'style="([^"]*)"', lambda found: _attributes(found[1]), text)
    text = re.sub(r"#fe[0-9a-f]{2}01", lambda found: f"var(--{_BACK[found[0]]})", text)
    text = re.sub(r' d="([^"]*)"', lambda found: f' d="{_shorter(found[1])}"', text)
    text = _without_idle(_own_ids(text, name))
    view = re.search(r'viewBox="([^"]*)"', text)
    if view is None:
        raise ValueError("matplotlib wrote a figure without viewBox")
    width = float(view[1].split()[2]) * PIXELS_A_POINT
    # Letters and labels beside the axes add to the figure's own width.
    kind = "picture whole" if figure.get_figwidth() <= NARROW else "picture"
    body = text[text.index(">") + 1 :]
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{view[1]}" width="{width:.0f}" role="img" class="{kind}" '
        f'aria-labelledby="{name}-title {name}-desc">'
        f'<title id="{name}-title">{escape(title)}</title><desc id="{name}-desc">{escape(alternative)}</desc>'
    )
    return re.sub(r">\s+<", "><", head + body).strip()


def _attributes(style: str) -> str:
    """``fill: none; stroke: #000`` as attributes; the font is the page's."""
    found = []
    for declaration in style.split(";"):
        name, _, value = declaration.partition(":")
        name, value = name.strip(), value.strip()
        if name == "font":
            size = re.search(r"([\d.]+)px", value)
            weight = re.search(r"\b(bold|[5-9]00)\b", value)
            found += [f'font-size="{size[1]}"'] if size else []
            found += ['font-weight="700"'] if weight else []
        elif (name, value) == ("stroke-linecap", "round"):  # dots hang on it
            found.append('stroke-linecap="round"')
        elif name and name not in {"font-family", "stroke-linejoin", "stroke-linecap", "white-space"}:
            found.append(f'{name}="{value}"')
    return " ".join(found)


def _shorter(path: str) -> str:
    """Coordinates to a tenth of a point, and upright rectangles by their sides."""
    path = re.sub(r"-?\d+\.\d+", lambda number: f"{float(number[0]):.1f}".removesuffix(".0"), path)
    path = " ".join(path.split())
    number = r"(-?[\d.]+)"
    rectangle = (
        rf"M {number} {number} L {number} {number} L {number} {number} L {number} {number} (?:L \1 \2 )?z"
    )

    def sides(found: re.Match[str]) -> str:
        x0, y0, x1, y1, x2, y2, x3, y3 = found.groups()
        if y0 == y1 and x1 == x2 and y2 == y3 and x3 == x0:
            return f"M{x0} {y0}H{x1}V{y2}H{x0}z"
        if x0 == x1 and y1 == y2 and x2 == x3 and y3 == y0:
            return f"M{x0} {y0}V{y1}H{x2}V{y0}z"
        return found[0]

    path = re.sub(rectangle, sides, path)
    return re.sub(r" ?([A-Za-z]) ?", r"\1", path)


def _without_idle(text: str) -> str:
    """Without turns by nothing, groups that say nothing, and more than a tenth of a point in places."""
    text = re.sub(r' transform="rotate\(-?0 [^)]*\)"| stroke-dashoffset="0"', "", text)
    text = re.sub(
        r' (x|y)="(-?\d+\.\d+)"', lambda at: f' {at[1]}="{float(at[2]):.1f}"'.replace('.0"', '"'), text
    )
    text = re.sub(r">\s+<", "><", text)
    shorter = re.sub(r"<g>((?:(?!</?g[ >]).)*)</g>", r"\1", text, flags=re.DOTALL)
    while shorter != text:
        text, shorter = shorter, re.sub(r"<g>((?:(?!</?g[ >]).)*)</g>", r"\1", shorter, flags=re.DOTALL)
    return text


def _own_ids(text: str, name: str) -> str:
    """Ids that are referred to get `name` before them; the others go."""
    used = set(re.findall(r'href="#([^"]+)"', text)) | set(re.findall(r"url\(#([^)]+)\)", text))
    text = re.sub(
        r' id="([^"]+)"', lambda found: f' id="{name}-{found[1]}"' if found[1] in used else "", text
    )
    text = re.sub(r'(?:xlink:)?href="#', f'href="#{name}-', text)
    return text.replace("url(#", f"url(#{name}-")

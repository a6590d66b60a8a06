"""What every page written here shares: its templates, its style sheet, and the policy that lets nothing else in."""

import base64
import hashlib
import re
from importlib.resources import files

from jinja2 import Environment, PackageLoader, Template
from markupsafe import Markup, escape

from sweeper.report.palette import ramp, style_variables


def template(name: str) -> Template:
    """The template of that name. Whatever is put into it is escaped; ``code`` marks what stands between backticks,
    ``clocks`` also hours on two clocks."""
    environment = Environment(
        loader=PackageLoader("sweeper.report"), autoescape=True, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters["code"] = with_code
    environment.filters["clocks"] = with_clocks
    return environment.get_template(name)


def style() -> str:
    """The page's style sheet, with the colours of both schemes."""
    text = (files("sweeper.report") / "templates" / "report.css").read_text(encoding="utf-8")
    text = text.replace("@ANSWER@", answer_style())
    steps = " ".join(f".hours .{name} {{ background: var(--{name}); }}" for name in ramp("light"))
    text = text.replace("@STEPS@", steps)
    text = text.replace("@LIGHT@", style_variables("light")).replace("@DARK@", style_variables("dark"))
    return " ".join(text.split())


def answer_style() -> str:
    """The style of the answer's table, which report and live page share."""
    return (files("sweeper.report") / "templates" / "answer.css").read_text(encoding="utf-8")


def policy() -> str:
    """The page's content-security policy: nothing is fetched, no script runs, one style sheet, the one written here."""
    known = base64.b64encode(hashlib.sha256(style().encode()).digest()).decode()
    return (
        f"default-src 'none'; style-src 'sha256-{known}'; img-src data:; base-uri 'none'; form-action 'none'"
    )


def with_code(text: str) -> Markup:
    """Text for a page: escaped, and what stands between backticks as code."""
    parts = str(text).split("`")
    if len(parts) % 2 == 0:  # one without its partner stays what it is
        return escape(text)
    return Markup("").join(
        Markup("<code>{}</code>").format(part) if nth % 2 else escape(part) for nth, part in enumerate(parts)
    )


_SPANS = r"\d\d:\d\d–\d\d:\d\d"
_LISTED = rf"{_SPANS}(?:(?:, | and ){_SPANS})*"
_BOTH_CLOCKS = re.compile(rf"({_LISTED}) \(({_LISTED}) UTC\)")


def with_clocks(text: str) -> Markup:
    """A sentence for a page: as `with_code`, and of hours on two clocks those of the page's switch."""
    found, last = [], 0
    for both in _BOTH_CLOCKS.finditer(text):
        found += [with_code(text[last : both.start()])]
        found += [Markup('<span class="lt">{}</span><span class="ut">{} UTC</span>').format(both[1], both[2])]
        last = both.end()
    return Markup("").join([*found, with_code(text[last:])])

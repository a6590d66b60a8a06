"""Every command by name. What a command does lives in the module of its subject; nothing heavy is imported here.

Every command's module is loaded for each call, so what only a command that is under way needs is imported inside it:
`sweeper --help` and `sweeper status` answer at once, and a daemon that waits stays small.
"""

from importlib.metadata import version
from typing import Annotated, Any

import typer
from typer.core import TyperArgument, TyperCommand, TyperGroup

from sweeper.cli import (
    calibrate,
    checking,
    comparing,
    data,
    demonstration,
    finding,
    fleet,
    following,
    lines,
    measuring,
    new,
    noise,
    planning,
    reducing,
    serving,
    talking,
)

FIRST = "First use"
MEASURING = "Measuring"
READING = "Reading"
CARING = "Caring for it"
MANY = "Many stations"


def _without_types(params: list[Any]) -> list[Any]:
    """A flag takes no value, so none is shown beside it; nor what an argument is called in Python."""
    for param in params:
        if getattr(param, "is_flag", False):
            param.metavar = ""
        if isinstance(param, TyperArgument):
            param.display_type_rich = lambda ctx: None  # type: ignore[method-assign]
    return params


class Command(TyperCommand):
    """A command as its help shows it."""

    def get_params(self, ctx: Any) -> Any:
        return _without_types(super().get_params(ctx))


class Commands(TyperGroup):
    """All of them."""

    def get_params(self, ctx: Any) -> Any:
        return _without_types(super().get_params(ctx))


HELP = {"help_option_names": ["-h", "--help"]}

app = typer.Typer(
    name="sweeper",
    cls=Commands,
    help="Measures whether a stage between antenna and receiver improves signal-to-noise ratio.",
    epilog="Each of them explains itself: sweeper COMMAND --help. A newcomer begins with: sweeper demo",
    context_settings=HELP,
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)


def _told_version(asked: bool) -> None:
    if asked:
        print(f"sweeper {version('stage-sweeper')}")
        raise typer.Exit


@app.callback()
def _common(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_told_version, is_eager=True, help="Say which version this is."),
    ] = False,
) -> None:
    pass


def _add(name: str, group: str, function: Any, example: str) -> None:
    app.command(
        name,
        cls=Command,
        rich_help_panel=group,
        epilog=f"Example: sweeper {name} {example}",
        context_settings=HELP,
    )(function)


_add("demo", FIRST, demonstration.demo, "--out saltmarsh")
_add("simulate", FIRST, demonstration.simulate, "saltmarsh.yaml")
_add("new", FIRST, new.new, "home.yaml --listen")
_add("check", FIRST, checking.check, "saltmarsh.yaml")
_add("ab", FIRST, comparing.ab, "--file evening.wav --first bypass --out evening.html")
_add("plan", MEASURING, planning.plan, "saltmarsh.yaml")
_add("run", MEASURING, measuring.run, "saltmarsh.yaml --passes 3")
_add("calibrate", MEASURING, calibrate.calibrate, "saltmarsh.yaml --tolerance 0.5")
_add("import", MEASURING, data.import_readings, "saltmarsh.yaml by-hand.csv --timezone Europe/Copenhagen")
_add("follow", MEASURING, following.follow, "saltmarsh.yaml")
_add("find-source", MEASURING, finding.find_source, "saltmarsh.yaml")
_add("analyse", READING, reducing.analyse, "saltmarsh.yaml --json")
_add("report", READING, reducing.report, "saltmarsh.yaml --out tonight.html")
_add("serve", READING, serving.serve, "saltmarsh.yaml --port 8473")
_add("compare", READING, reducing.compare, "saltmarsh.yaml --fix 2026-11-08T12:00Z")
_add("noise", READING, noise.noise, "saltmarsh.yaml --picture noise.png")
_add("export", READING, data.export, "saltmarsh.yaml --format csv > readings.csv")
_add("status", CARING, talking.status, "saltmarsh.yaml")
_add("pause", CARING, talking.pause, "saltmarsh.yaml")
_add("resume", CARING, talking.resume, "saltmarsh.yaml")
_add("lines", CARING, lines.lines, "saltmarsh-samples.yaml")
_add("note", CARING, talking.note, 'saltmarsh.yaml "ferrites on the router"')
_add("stop", CARING, talking.stop, "saltmarsh.yaml")
_add("rest", CARING, measuring.rest, "saltmarsh.yaml")
_add("keys", CARING, talking.keys, "saltmarsh.yaml --client laptop")
_add("fleet", MANY, fleet.fleet, "club/ --json")

"""Every command by name. What a command does lives in the module of its subject; nothing heavy is imported here."""

import typer

from sweeper.cli import checking, data, demonstration, fleet, measuring, planning, reducing

app = typer.Typer(
    name="sweeper",
    help="Measures whether a stage between antenna and receiver improves signal-to-noise ratio.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)

app.command("demo", epilog="Example: sweeper demo --out saltmarsh")(demonstration.demo)
app.command("check", epilog="Example: sweeper check saltmarsh.yaml")(checking.check)
app.command("plan", epilog="Example: sweeper plan saltmarsh.yaml")(planning.plan)
app.command("run", epilog="Example: sweeper run saltmarsh.yaml --passes 3")(measuring.run)
app.command("analyse", epilog="Example: sweeper analyse saltmarsh.yaml --json")(reducing.analyse)
app.command("compare", epilog="Example: sweeper compare saltmarsh.yaml --fix 2026-11-08T12:00Z")(
    reducing.compare
)
app.command("report", epilog="Example: sweeper report saltmarsh.yaml --out tonight.html")(reducing.report)
app.command("import", epilog="Example: sweeper import saltmarsh.yaml by-hand.csv")(data.import_readings)
app.command("export", epilog="Example: sweeper export saltmarsh.yaml --format csv > readings.csv")(
    data.export
)
app.command("simulate", epilog="Example: sweeper simulate saltmarsh.yaml")(demonstration.simulate)
app.command("fleet", epilog="Example: sweeper fleet club/ --json")(fleet.fleet)

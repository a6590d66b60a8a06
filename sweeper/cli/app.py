"""Every command by name. What a command does lives in the module of its subject; nothing heavy is imported here.

Every command's module is loaded for each call, so what only a command that is under way needs is imported inside it:
`sweeper --help` and `sweeper status` answer at once, and a daemon that waits stays small.
"""

import typer

from sweeper.cli import (
    calibrate,
    checking,
    comparing,
    data,
    demonstration,
    fleet,
    following,
    measuring,
    new,
    planning,
    reducing,
    serving,
    talking,
)

app = typer.Typer(
    name="sweeper",
    help="Measures whether a stage between antenna and receiver improves signal-to-noise ratio.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)

app.command("demo", epilog="Example: sweeper demo --out saltmarsh")(demonstration.demo)
app.command("new", epilog="Example: sweeper new home.yaml --listen")(new.new)
app.command("check", epilog="Example: sweeper check saltmarsh.yaml")(checking.check)
app.command("plan", epilog="Example: sweeper plan saltmarsh.yaml")(planning.plan)
app.command("run", epilog="Example: sweeper run saltmarsh.yaml --passes 3")(measuring.run)
app.command("calibrate", epilog="Example: sweeper calibrate saltmarsh.yaml --tolerance 0.5")(
    calibrate.calibrate
)
app.command("analyse", epilog="Example: sweeper analyse saltmarsh.yaml --json")(reducing.analyse)
app.command("compare", epilog="Example: sweeper compare saltmarsh.yaml --fix 2026-11-08T12:00Z")(
    reducing.compare
)
app.command("report", epilog="Example: sweeper report saltmarsh.yaml --out tonight.html")(reducing.report)
app.command("serve", epilog="Example: sweeper serve saltmarsh.yaml --port 8473")(serving.serve)
app.command("import", epilog="Example: sweeper import saltmarsh.yaml by-hand.csv")(data.import_readings)
app.command("export", epilog="Example: sweeper export saltmarsh.yaml --format csv > readings.csv")(
    data.export
)
app.command("simulate", epilog="Example: sweeper simulate --recording evening --by-hand")(
    demonstration.simulate
)
app.command("fleet", epilog="Example: sweeper fleet club/ --json")(fleet.fleet)
app.command("status", epilog="Example: sweeper status saltmarsh.yaml")(talking.status)
app.command("pause", epilog="Example: sweeper pause saltmarsh.yaml")(talking.pause)
app.command("resume", epilog="Example: sweeper resume saltmarsh.yaml")(talking.resume)
app.command("note", epilog='Example: sweeper note saltmarsh.yaml "ferrites on the router"')(talking.note)
app.command("stop", epilog="Example: sweeper stop saltmarsh.yaml")(talking.stop)
app.command("keys", epilog="Example: sweeper keys saltmarsh.yaml --client laptop")(talking.keys)
app.command("rest", epilog="Example: sweeper rest saltmarsh.yaml")(measuring.rest)
app.command("follow", epilog="Example: sweeper follow saltmarsh.yaml")(following.follow)
app.command("ab", epilog="Example: sweeper ab --file evening.wav --first bypass --out evening.html")(
    comparing.ab
)

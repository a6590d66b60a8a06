"""`ab`: in and out compared, in a recording."""

from pathlib import Path
from typing import Annotated

import typer

from sweeper.cli.options import AsJson
from sweeper.cli.progress import progress
from sweeper.errors import WrongInput

MoreFiles = Annotated[
    list[Path] | None, typer.Argument(metavar="[REC]...", help="More files of the same recording.")
]
Files = Annotated[
    list[Path] | None,
    typer.Option(
        "--file", metavar="REC", help="A recording made while the stage was switched: WAV, FLAC, SigMF."
    ),
]
First = Annotated[str | None, typer.Option(metavar="bypass|stage", help="What the recording begins with.")]
SwitchedAt = Annotated[
    str | None, typer.Option(metavar='"every 30 s from 12 s"', help="When it was switched, if regularly.")
]
Marks = Annotated[
    Path | None, typer.Option(metavar="MARKS.csv", help="When it was switched: at_s,path on each line.")
]
Dial = Annotated[
    float | None, typer.Option(metavar="HZ", help="Audio: what the receiver's dial showed, in hertz.")
]
Mode = Annotated[str | None, typer.Option(metavar="USB|LSB|CW", help="Audio: the receiver's mode.")]
Centre = Annotated[
    float | None, typer.Option(metavar="HZ", help="Samples of a band: their centre, in hertz.")
]
Channel = Annotated[int | None, typer.Option(min=1, metavar="N", help="Which channel of the file.")]
AgcOff = Annotated[
    bool, typer.Option("--agc-off", help="The receiver's AGC was off: levels can be compared.")
]
Worthwhile = Annotated[
    float, typer.Option(min=0.1, max=20.0, metavar="DB", help="The smallest S/N change that matters.")
]
Confidence = Annotated[float, typer.Option(min=0.5, max=0.999, metavar="P")]
Page = Annotated[Path | None, typer.Option(metavar="PAGE.html", help="Write a page with the pictures.")]


def ab(
    more: MoreFiles = None,
    file: Files = None,
    first: First = None,
    switched: SwitchedAt = None,
    marks: Marks = None,
    dial: Dial = None,
    mode: Mode = None,
    centre: Centre = None,
    channel: Channel = None,
    agc_off: AgcOff = False,
    worthwhile: Worthwhile = 1.0,
    confidence: Confidence = 0.95,
    as_json: AsJson = False,
    out: Page = None,
) -> None:
    """Compare the stage in and out in a recording during which it was switched."""
    from sweeper.ab import as_json as told_as_json
    from sweeper.recordings import Asked, compare_recording

    if not file:
        raise WrongInput(
            "Name the recording with --file, such as `sweeper ab --file evening.wav --first bypass`."
        )
    if out is not None:
        from sweeper.report.whole_file import writable

        writable(out)
    asked = Asked(
        files=(*file, *(more or ())),
        dial_hz=dial,
        mode=mode,
        centre_hz=centre,
        switched=switched,
        marks=marks,
        first=first,
        channel=channel,
        agc_off=agc_off,
        confidence=confidence,
        worthwhile_db=worthwhile,
    )
    with progress("Reading") as told:
        compared = compare_recording(asked, told)
    if as_json:
        print(told_as_json(compared.result))
    else:
        from sweeper.report.ab_terminal import show_ab

        show_ab(compared)
    if out is not None:
        from sweeper.report.ab_page import write_ab_html

        write_ab_html(compared, out)
        if not as_json:
            print(out)

"""`ab`: in and out compared, now or in a recording."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sweeper.cli.ab_now import Call, ab_now
from sweeper.cli.options import AsJson, DataFolder
from sweeper.cli.progress import progress
from sweeper.errors import WrongInput

if TYPE_CHECKING:
    from sweeper.recordings.comparing import Asked

Named = Annotated[
    list[Path] | None,
    typer.Argument(
        metavar="[STATION | REC...]", help="The station file; with --file, more files of the same recording."
    ),
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
Channel = Annotated[
    int | None,
    typer.Option(min=1, max=32, metavar="N", help="Which channel of the file, or of the sound input."),
]
AgcOff = Annotated[
    bool, typer.Option("--agc-off", help="The receiver's AGC was off: levels can be compared.")
]
Worthwhile = Annotated[
    float, typer.Option(min=0.1, max=20.0, metavar="DB", help="The smallest S/N change that matters.")
]
Confidence = Annotated[float, typer.Option(min=0.5, max=0.999, metavar="P")]
Page = Annotated[
    Path | None, typer.Option(metavar="PAGE.html", help="Write a page with the pictures of a recording.")
]
Hz = Annotated[
    float | None,
    typer.Option(min=1e4, max=1e10, metavar="HZ", help="Now: the carrier to listen to, in hertz."),
]
Minutes = Annotated[float, typer.Option(min=0.5, max=60.0, metavar="M", help="Now: after so long it ends.")]
ByHand = Annotated[bool, typer.Option("--by-hand", help="Now: you switch the stage and press the space bar.")]
Sound = Annotated[
    str | None,
    typer.Option(metavar="DEVICE", help="Now: the sound input that the receiver is connected to."),
]
Keep = Annotated[bool, typer.Option("--keep", help="Now: keep the result with the station's data.")]


def ab(
    named: Named = None,
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
    hz: Hz = None,
    minutes: Minutes = 5.0,
    by_hand: ByHand = False,
    sound: Sound = None,
    keep: Keep = False,
    as_json: AsJson = False,
    out: Page = None,
    data: DataFolder = None,
) -> None:
    """Compare the stage in and out: now, by relay or by hand, or in a recording during which it was switched."""
    if file:
        from sweeper.recordings.comparing import Asked

        what = Asked(
            (*file, *(named or ())),
            dial,
            mode,
            centre,
            switched,
            marks,
            first,
            channel,
            agc_off,
            confidence,
            worthwhile,
        )
        _in_recording(what, as_json, out)
        return
    stations = named or []
    if len(stations) > 1:
        raise WrongInput("One station at a time; the files of a recording begin with --file.")
    station_file = stations[0] if stations else None
    how = (sound, channel, hz, minutes, by_hand, mode, agc_off, worthwhile, confidence, as_json, keep, data)
    ab_now(Call(station_file, *how))


def _in_recording(asked: "Asked", as_json: bool, out: Path | None) -> None:
    from sweeper.ab import as_json as told_as_json
    from sweeper.recordings.comparing import compare_recording

    if out is not None:
        from sweeper.report.whole_file import writable

        writable(out)
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

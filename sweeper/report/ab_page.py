"""The page of an A/B comparison: one self-contained file. Computes nothing."""

from pathlib import Path

from sweeper.recordings.comparing import Compared
from sweeper.report.ab_words import figures, headline, remarks
from sweeper.report.pictures.ab import carriers, over_time, spectra
from sweeper.report.pictures.picture import Numbers
from sweeper.report.template import policy, style, template
from sweeper.report.whole_file import writable, write_page


def write_ab_html(compared: Compared, file: Path) -> None:
    """Write the comparison to `file`, whole or not at all. `WrongInput` where no file can be written."""
    writable(file)
    result = compared.result
    drawn = [carriers(compared), spectra(compared), over_time(compared)]
    page = template("ab.html").render(
        policy=policy(),
        style=style(),
        headline=headline(result),
        reason=result.reason,
        place=_place(compared),
        figures=Numbers(("What", f"at {result.confidence:.0%}"), figures(result)),
        remarks=remarks(compared),
        pictures=[picture for picture in drawn if picture is not None],
        foot=(
            "This holds for this frequency and this hour. Fading, noise and the stage's worth change from "
            "hour to hour: "
            "nights of passes tell about nights."
        ),
    )
    write_page(file, page)


def _place(compared: Compared) -> str:
    result = compared.result
    kind = "audio" if compared.real else "samples of a band"
    when = f", from {result.at}" if result.at else ""
    return f"{Path(compared.name).name}: {kind}, {result.seconds / 60:.1f} minutes{when}"

"""The page on many stations: who stands out, medians by band and hour, a map. Computes nothing."""

from pathlib import Path

from sweeper.fleet import Fleet
from sweeper.report import fleet_words, wording
from sweeper.report.pictures.picture import Numbers
from sweeper.report.pictures.stations import medians, places
from sweeper.report.template import policy, style, template
from sweeper.report.whole_file import writable, write_page


def write_fleet_html(fleet: Fleet, file: Path) -> None:
    """Write the comparison to `file`, whole or not at all. `WrongInput` where no file can be written."""
    writable(file)
    results = [share.result for share in fleet.shares if share.result is not None]
    findings = fleet.findings
    page = template("fleet.html").render(
        policy=policy(),
        style=style(),
        stations=wording.count(len(fleet.shares), "station"),
        answer=fleet_words.answer(findings),
        odd=fleet_words.unlike_the_others(findings),
        problems=[problem for share in fleet.shares for problem in share.problems],
        pictures=[*medians(findings.bands), *places(results, findings.cells)],
        listing=Numbers(
            ("Station", "Days", "Verdicts"),
            tuple(
                (
                    share.name,
                    str(share.days),
                    str(
                        sum(
                            cell.station == share.name and cell.verdict != "undecided"
                            for cell in findings.cells
                        )
                    ),
                )
                for share in fleet.shares
            ),
        ),
    )
    write_page(file, page)

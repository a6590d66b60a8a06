"""Makes the pictures of ``docs/pictures`` from the demo: report and live page as Chromium shows them at three widths.

    python -m tests.whole.pictures [FOLDER [DEMO]]

Runs the demo for some nights, opens its report, then serves the simulated station in real time with the demo's
readings before it, and looks at the live page while a pass runs. DEMO is the folder of an earlier demo, to use instead.
People look at the results; no test compares them.
"""

import io
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from PIL import Image
from selenium import webdriver

from drivers.config_files import station_file
from sweeper.simulation import saltmarsh, serve
from sweeper.station.rewrite import with_values
from tests.clocks import evening
from tests.whole.browser import SWEEPER, browser, look, page_served

NIGHTS = 3
SIZES = ((390, 844), (1280, 800), (1920, 1080))
UNFOLDED = 1500


def main(folder: Path, demo: Path | None = None) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as made:
        if demo is None:
            demo = Path(made) / "demo"
            subprocess.run([SWEEPER, "demo", "--out", str(demo), "--nights", str(NIGHTS)], check=True)
        with browser(Path(made)) as driver:
            for width, height in SIZES:
                for dark in (False, True) if width == 1280 else (False,):
                    look(driver, width, height, dark=dark)
                    driver.get((demo / "report.html").as_uri())
                    _keep(driver, folder / f"report-{width}{'-dark' if dark else ''}.png")
            look(driver, 1280, UNFOLDED)
            for place in ("when", "noise", "ceiling"):
                driver.get("about:blank")
                driver.get(f"{(demo / 'report.html').as_uri()}#{place}")
                _keep(driver, folder / f"report-1280-{place}.png")
            subprocess.run(
                [SWEEPER, "report", str(demo / "saltmarsh.yaml"), "--picture", str(folder / "answer.png")],
                check=True,
            )
            _live(driver, demo, folder)


def _live(driver: webdriver.Chrome, demo: Path, folder: Path) -> None:
    """The live page while a pass runs on the served station."""
    with serve(saltmarsh(seed=1), evening(), receiver="rigctl-net", switch="modbus-tcp") as served:
        file = demo / "live.yaml"
        links = {("receiver", "link"): served.receiver_link, ("switch", "link"): served.switch_link}
        file.write_text(
            with_values(station_file("saltmarsh").read_text(encoding="utf-8"), links), encoding="utf-8"
        )
        data = demo / "saltmarsh.data"
        daemon = subprocess.Popen([SWEEPER, "run", str(file), "--passes", "2", "--data", str(data)])
        try:
            with page_served(file, data) as address:
                driver.get(address)
                _until(driver, "return document.querySelectorAll('#passes li').length > 0")
                _until(
                    driver, "return document.querySelector('#heading').textContent.startsWith('Measuring ')"
                )
                _until(driver, "return document.querySelectorAll('#paths tbody tr').length > 8")
                for width, height in SIZES:
                    look(driver, width, height)
                    _keep(driver, folder / f"live-{width}.png")
                look(driver, 1280, 800, dark=True)
                _keep(driver, folder / "live-1280-dark.png")
        finally:
            daemon.terminate()
            daemon.wait(30)


def _until(driver: webdriver.Chrome, script: str, deadline_s: float = 240.0) -> None:
    end = time.monotonic() + deadline_s
    while not driver.execute_script(script):
        if time.monotonic() > end:
            raise TimeoutError(script)
        time.sleep(0.2)


def _keep(driver: webdriver.Chrome, file: Path) -> None:
    """The visible part in 128 colours: a flat drawing loses nothing by it, and the repository stays small."""
    shot = Image.open(io.BytesIO(driver.get_screenshot_as_png())).convert("RGB")
    shot.quantize(128).save(file, optimize=True)
    print(file)


if __name__ == "__main__":
    given = [Path(each) for each in sys.argv[1:]]
    main(given[0] if given else Path(__file__).parents[2] / "docs" / "pictures", *given[1:])

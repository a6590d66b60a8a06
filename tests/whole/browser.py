"""A real browser, headless, for the tests of what people look at."""

import contextlib
import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

from selenium import webdriver
from selenium.webdriver.chrome.options import Options
from selenium.webdriver.chrome.service import Service

CHROMIUM = "/usr/bin/chromium"
CHROMEDRIVER = "/usr/bin/chromedriver"
FLAGS = (
    "--headless",
    "--no-sandbox",  # The tests of a build machine run as root, which Chromium's sandbox refuses.
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
SWEEPER = str(Path(sys.executable).with_name("sweeper"))


@contextlib.contextmanager
def browser(folder: Path) -> Iterator[webdriver.Chrome]:
    """Chromium with a new profile in `folder`; its console is kept."""
    options = Options()
    options.binary_location = CHROMIUM
    for flag in (*FLAGS, f"--user-data-dir={folder / 'profile'}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(CHROMEDRIVER))
    try:
        yield driver
    finally:
        driver.quit()


def look(driver: webdriver.Chrome, width: int, height: int = 900, *, dark: bool = False) -> None:
    """See the page as a screen of this size does, in the light or the dark scheme."""
    driver.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 500},
    )
    scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [scheme]})


@contextlib.contextmanager
def page_served(station_file: Path, data: Path, *options: str) -> Iterator[str]:
    """`sweeper serve` as a process on a free port; its address."""
    process = subprocess.Popen(
        [SWEEPER, "serve", str(station_file), "--data", str(data), "--port", "0", *options],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=dict(os.environ),
    )
    assert process.stdout is not None and process.stderr is not None
    said: list[str] = []
    reader = threading.Thread(target=lambda: said.extend(process.stderr or []), daemon=True)
    reader.start()
    try:
        line = process.stdout.readline()
        assert line.startswith("http://"), f"serve said {line!r} and {said!r}"
        yield line.split()[0]
    finally:
        process.terminate()
        process.wait(20)
        reader.join(5)
        process.stdout.close()
        process.stderr.close()
    assert not said, f"serve complained: {said}"


def violations(driver: webdriver.Chrome) -> list[str]:
    """What axe-core finds wrong with the page as it stands: rule, impact and the first element, one line each."""
    from importlib.resources import files

    axe = (files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8")
    # Handed over by the debugger, which the page's own policy does not bind.
    driver.execute_cdp_cmd("Runtime.evaluate", {"expression": axe})
    found = driver.execute_async_script(
        "const done = arguments[arguments.length - 1];"
        "window.axe.run(document).then((result) => done(result.violations));"
    )
    return [f"{each['id']} ({each['impact']}): {each['nodes'][0]['html'][:200]}" for each in found]

"""How large the live page is before data, and how soon it is seen.

Reference in the same run: the same bytes from the standard library's file server, in the same browser. Visits
alternate, and each one's middle visit counts. The time is from the request to the
first contentful paint, as the browser tells it.

    python -m tests.benchmarks.page [--quick] [--json FILE]

Exits 1 when the page is 150 kB or more, or its first view takes a second or more.
"""

import argparse
import contextlib
import functools
import http.server
import json
import statistics
import sys
import tempfile
import threading
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

from selenium import webdriver

from drivers.config_files import station_file
from tests.whole.browser import browser, look, page_served

LARGEST_BYTES = 150_000
LONGEST_S = 1.0
PARTS = {"index.html": "", "page.css": "page.css", "page.js": "page.js"}
PAINTED = "return performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? null"


@contextlib.contextmanager
def static(folder: Path) -> Iterator[str]:
    """The files of a folder from the standard library's server."""

    class Quiet(http.server.SimpleHTTPRequestHandler):
        def log_message(self, *_: object) -> None:
            pass

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(Quiet, directory=folder))
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


def first_view_s(driver: webdriver.Chrome, address: str) -> float:
    """Seconds from the request to the first contentful paint."""
    driver.get(address)
    end = time.monotonic() + 30
    while (painted := driver.execute_script(PAINTED)) is None:
        if time.monotonic() > end:
            raise TimeoutError(f"{address} was never painted")
        time.sleep(0.02)
    return float(painted) / 1000


def main() -> int:
    told = argparse.ArgumentParser()
    told.add_argument("--quick", action="store_true")
    told.add_argument("--json", type=Path)
    asked = told.parse_args()
    visits = 5 if asked.quick else 21
    with tempfile.TemporaryDirectory() as made, browser(Path(made)) as driver:
        folder = Path(made)
        (folder / "static").mkdir()
        with (
            page_served(station_file("saltmarsh"), folder / "data") as address,
            static(folder / "static") as plain,
        ):
            sizes = {}
            for name, path in PARTS.items():
                with urllib.request.urlopen(address + path) as answer:
                    body = answer.read()
                sizes[name] = len(body)
                (folder / "static" / name).write_bytes(body)
            look(driver, 1280)
            took: dict[str, list[float]] = {"the live page": [], "the same bytes, file server": []}
            for _ in range(visits):
                for name, where in zip(took, (address, plain), strict=True):
                    took[name].append(first_view_s(driver, where))
    middle = {name: statistics.median(each) for name, each in took.items()}
    ours, reference = middle.values()
    size = sum(sizes.values())
    print(f"size before data: {size / 1000:.1f} kB (at most {LARGEST_BYTES / 1000:.0f})")
    for name, each in middle.items():
        print(f"first view, {name}: {each:.3f} s")
    print(f"ratio: {ours / reference:.2f}")
    result = {"bytes": size, "first_view_s": ours, "reference_s": reference, "ratio": ours / reference}
    if asked.json:
        asked.json.write_text(json.dumps(result, indent=1), encoding="utf-8")
    return int(size >= LARGEST_BYTES or (not asked.quick and ours >= LONGEST_S))


if __name__ == "__main__":
    sys.exit(main())

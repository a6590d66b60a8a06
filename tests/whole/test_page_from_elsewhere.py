"""The live page seen from another computer, by the addresses that `serve` prints."""

import subprocess
import sys
from pathlib import Path

import pytest

from tests.sweeper.station.files import written
from tests.whole.peers import ends_with_us
from tests.whole.two_hosts import two_hosts

pytestmark = pytest.mark.system

SWEEPER = str(Path(sys.executable).with_name("sweeper"))

VISIT = """
import sys, http.cookiejar, urllib.parse, urllib.request
page, token = sys.argv[1:]
browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar()))
first = browser.open(page, timeout=60)
assert first.url == page + "enter", first.url
form = urllib.parse.urlencode({"token": token}).encode()
entered = browser.open(urllib.request.Request(page + "enter", form, {"Origin": page.rstrip("/")}), timeout=60)
print(entered.url, entered.read().decode())
"""


def printed_by(serving: "subprocess.Popen[str]") -> list[str]:
    """What it prints up to the word on its token."""
    assert serving.stdout is not None
    printed: list[str] = []
    for line in serving.stdout:
        printed.append(line.strip())
        if "token" in line:
            break
    return printed


def test_another_host_reaches_the_page_at_a_printed_address_with_the_token(tmp_path: Path) -> None:
    station = written(tmp_path)
    with two_hosts() as (shack, sofa):
        command = shack.command(SWEEPER, "serve", str(station), "--host", "0.0.0.0", "--port", "8473")
        with subprocess.Popen(ends_with_us(*command), stdout=subprocess.PIPE, text=True) as serving:
            try:
                printed = printed_by(serving)
                page = f"http://{shack.address}:8473/"
                assert page in printed, printed
                token = (tmp_path / "saltmarsh.data" / "Saltmarsh" / "page.token").read_text(encoding="ascii")
                visit = sofa.command(sys.executable, "-c", VISIT, page, token.strip())
                seen = subprocess.run(visit, capture_output=True, text=True, check=False, timeout=150)
                assert seen.returncode == 0, seen.stderr
                assert seen.stdout.startswith(page) and "Saltmarsh" in seen.stdout
            finally:
                serving.terminate()

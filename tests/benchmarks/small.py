"""What a small computer feels: how soon a command answers, how long a demo night takes, how little memory will do.

References in the same run: `python -c "import typer"` for the help page, and the same commands without a limit for
those run inside one. The limit is a control group of the kernel's with 256 MB and no swap, which needs root.

    python -m tests.benchmarks.small [--quick] [--json FILE]
"""

import argparse
import contextlib
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

SWEEPER = str(Path(sys.executable).with_name("sweeper"))
GROUPS = Path("/sys/fs/cgroup")
LIMIT_MB = 256


def seconds(command: list[str], inside: Path | None = None) -> float:
    """How long a command takes that must succeed; inside a control group, if one is given."""

    def enter() -> None:
        if inside is not None:
            (inside / "cgroup.procs").write_text(str(os.getpid()))

    began = time.perf_counter()
    subprocess.run(
        command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=True, preexec_fn=enter
    )
    return time.perf_counter() - began


@contextlib.contextmanager
def limited() -> Iterator[Path | None]:
    """A control group with the limit, of either generation; None where the kernel or the user cannot make one."""
    second = (GROUPS / "cgroup.controllers").exists()
    group = (GROUPS if second else GROUPS / "memory") / f"sweeper-{os.getpid()}"
    try:
        if second:
            (GROUPS / "cgroup.subtree_control").write_text("+memory")
        elif not (GROUPS / "memory" / "memory.limit_in_bytes").exists():
            raise FileNotFoundError("no memory controller")
        group.mkdir()
        (group / ("memory.max" if second else "memory.limit_in_bytes")).write_text(f"{LIMIT_MB}M")
    except OSError:
        yield None
        return
    try:
        yield group
    finally:
        group.rmdir()


def peak_mb(group: Path) -> float:
    """The most that the group has held at once, files in the page cache among it."""
    (counted,) = (
        each for name in ("memory.peak", "memory.max_usage_in_bytes") if (each := group / name).exists()
    )
    return int(counted.read_text()) / 2**20


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="fewer repetitions, for CI")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write the figures there, too")
    chosen = parser.parse_args()
    times = 2 if chosen.quick else 15
    reference = min(seconds([sys.executable, "-c", "import typer"]) for _ in range(times))
    shown = min(seconds([SWEEPER, "--help"]) for _ in range(times))
    figures: dict[str, object] = {"help_s": shown, "typer_s": reference, "help_over_typer": shown / reference}
    print(f"sweeper --help: {shown:.3f} s, {shown / reference:.2f} x `import typer` (at most 3 wanted)")
    with tempfile.TemporaryDirectory() as name, limited() as group:
        station = Path(name) / "saltmarsh.yaml"
        figures["demo_s"] = seconds([SWEEPER, "demo", "--out", name])
        print(f"a demo night, report included: {figures['demo_s']:.1f} s (under 20 wanted)")
        free = seconds([SWEEPER, "analyse", str(station)])
        if group is None:
            print("no control group can be made here, so nothing was measured under a limit")
        else:
            for kept in (Path(name) / "saltmarsh.data" / "Saltmarsh").glob("summaries.*"):
                kept.unlink()
            bound = seconds([SWEEPER, "analyse", str(station)], group)
            figures |= {"analyse_limited_over_free": bound / free, "analyse_peak_mb": peak_mb(group)}
            print(
                f"analyse in {LIMIT_MB} MB: {bound / free:.2f} x without a limit, peak {peak_mb(group):.0f} MB"
            )
    if chosen.json:
        chosen.json.write_text(json.dumps(figures, indent=1), encoding="utf-8")


if __name__ == "__main__":
    main()

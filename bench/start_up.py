"""How long the prompt takes to answer, the whole process, started afresh each time."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from statistics import median
from time import perf_counter

from bench.report import Line, show

COMMAND = Path(sys.executable).with_name("cubital")


def measure(arguments: list[str], runs: int) -> list[float]:
    """Seconds of `runs` starts of the command with these arguments."""
    spent_s = []
    for _ in range(runs):
        started = perf_counter()
        subprocess.run([str(COMMAND), *arguments], check=True, capture_output=True)
        spent_s.append(perf_counter() - started)
    return spent_s


def run(*, is_quick: bool) -> bool:
    """Measure and print; whether both are quick enough."""
    runs = 5 if is_quick else 15
    bare = median(_bare(runs))
    lines = [Line("python that does nothing", f"{1000 * bare:.0f} ms")]
    for arguments, target_ms in ((["--help"], 150), (["plan", "K", "Na", "CBC", "PT"], 400)):
        middle_ms = 1000 * median(measure(arguments, runs))
        lines.append(
            Line(f"cubital {' '.join(arguments)}", f"{middle_ms:.0f} ms", f"{target_ms} ms", middle_ms <= target_ms)
        )
    return show(f"Start-up, median of {runs} whole processes", lines)


def _bare(runs: int) -> list[float]:
    spent_s = []
    for _ in range(runs):
        started = perf_counter()
        subprocess.run([sys.executable, "-I", "-c", ""], check=True)
        spent_s.append(perf_counter() - started)
    return spent_s

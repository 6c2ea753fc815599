"""How long the prompt takes to answer, the whole process, started afresh each time, its modules compiled before."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from time import perf_counter

from bench.report import Line, show

COMMAND = Path(sys.executable).with_name("cubital")
TARGETS_MS = {("--help",): 150, ("plan", "K", "Na", "CBC", "PT"): 400}


def measure(command: list[str], runs: int) -> list[float]:
    """Seconds of `runs` starts of this command; one start before them, not counted, compiles its modules.

    The compiled modules are kept in a folder of their own, whatever the environment says about them.
    """
    spent_s = []
    with TemporaryDirectory() as folder:
        surroundings = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
        surroundings["PYTHONPYCACHEPREFIX"] = folder
        for _ in range(runs + 1):
            started = perf_counter()
            subprocess.run(command, check=True, capture_output=True, env=surroundings)
            spent_s.append(perf_counter() - started)
    return spent_s[1:]


def run(*, is_quick: bool) -> bool:
    """Measure and print; whether both are quick enough."""
    runs = 5 if is_quick else 15
    bare_ms = 1000 * median(measure([sys.executable, "-I", "-c", ""], runs))
    lines = [Line("python that does nothing", f"{bare_ms:.0f} ms")]
    for arguments, target_ms in TARGETS_MS.items():
        middle_ms = 1000 * median(measure([str(COMMAND), *arguments], runs))
        name = f"cubital {' '.join(arguments)}"
        lines.append(Line(name, f"{middle_ms:.0f} ms", f"{target_ms} ms", middle_ms <= target_ms))
    return show(f"Start-up, median of {runs} whole processes, modules compiled before", lines)

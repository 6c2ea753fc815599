"""Is a set-up that was killed at any second mended by the next one? `python -m tests.attack.kills_of_setup [SECOND …]`.

Clones the checkout, kills `scripts/setup dev` and all that it started after so many seconds, runs it again to its end,
and plans a draw with what it made. It needs the network, or a cache of pip.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
# Without what would have the new environment use the sources, or the libraries, of this one.
CLEAN = {name: value for name, value in os.environ.items() if name not in ("PYTHONPATH", "VIRTUAL_ENV", "PYTHONHOME")}
SECONDS = (1.0, 2.0, 3.0, 5.0, 9.0, 14.0)


def main(seconds: tuple[float, ...], want: str = "dev") -> int:
    failed = 0
    for after_s in seconds:
        with tempfile.TemporaryDirectory(prefix="cubital-setup-") as folder:
            checkout = Path(folder) / "cubital"
            subprocess.run(["git", "clone", "-q", str(ROOT), str(checkout)], check=True)
            killed = kill_set_up(checkout, after_s, want)
            begun = time.monotonic()
            again = subprocess.run(
                [checkout / "scripts/setup", want], capture_output=True, text=True, cwd=checkout, env=CLEAN,
                check=False,
            )  # fmt: skip
            fault = again.stderr if again.returncode else fault_of(checkout)
            failed += bool(fault)
            outcome = f"FAILED: {fault[-500:]}" if fault else "whole"
            took_s = time.monotonic() - begun
            stopped = "killed" if killed else "done"
            print(f"{want}, {stopped} at {after_s:g} s; again {took_s:.0f} s: {outcome}", flush=True)
    return 1 if failed else 0


def kill_set_up(checkout: Path, after_s: float, want: str) -> bool:
    """Whether it was still at work after so many seconds; then it and all that it started are killed."""
    command = [str(checkout / "scripts/setup"), want]
    quiet = subprocess.DEVNULL
    with subprocess.Popen(command, cwd=checkout, start_new_session=True, env=CLEAN, stderr=quiet) as running:
        try:
            running.wait(after_s)
            return False
        except subprocess.TimeoutExpired:
            os.killpg(running.pid, signal.SIGKILL)
            return True


def fault_of(checkout: Path) -> str:
    """What is wrong with the environment; empty where nothing is."""
    if strays := [one.name for one in checkout.glob(".venv?*") if one.name != ".venv.lock"]:
        return f"left {strays}"
    for command in (
        ["pip", "--version"], ["python", "-m", "pip", "check"],
        ["cubital", "plan", "PT", "K", "--demo", "--on", "2026-11-25"],
    ):  # fmt: skip
        program = checkout / ".venv/bin" / command[0]
        done = subprocess.run(
            [program, *command[1:]], capture_output=True, text=True, cwd=checkout, env=CLEAN, check=False
        )
        if done.returncode:
            return f"{command}: {done.stderr}"
    return ""


if __name__ == "__main__":
    sys.exit(main(tuple(float(one) for one in sys.argv[1:]) or SECONDS))

"""The README shows what the commands do: its picture is compared with real output.

`python -m tests.whole.test_readme` draws it anew.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
PATH = ROOT / "README.md"
README = PATH.read_text(encoding="utf-8")
PICTURE = re.compile(r"```console\n\$ (cubital [^\n]+)\n(.*?)```", re.DOTALL)
SHOWN = PICTURE.findall(README)


def printed(command: str) -> str:
    """What this command of the README prints."""
    arguments = shlex.split(command)[1:]
    found = subprocess.run(
        [sys.executable, "-m", "cubital.cli.main", *arguments],
        capture_output=True, check=True, encoding="utf-8", env={**os.environ, "PYTHONIOENCODING": "utf-8"},
    )  # fmt: skip
    return found.stdout


def test_the_readme_shows_a_picture() -> None:
    assert len(SHOWN) == 1
    assert "▓" in SHOWN[0][1]


def test_the_picture_is_what_the_command_prints() -> None:
    for command, shown in SHOWN:
        assert printed(command) == shown


def test_the_commands_that_the_readme_names_are_there_and_can_be_run() -> None:
    named = re.findall(r"(?m)^    (scripts/\w+)", README)
    assert named == ["scripts/demo", "scripts/serve", "scripts/test"]
    for name in named:
        assert (ROOT / name).stat().st_mode & 0o111


if __name__ == "__main__":
    PATH.write_text(PICTURE.sub(lambda m: f"```console\n$ {m[1]}\n{printed(m[1])}```", README), encoding="utf-8")

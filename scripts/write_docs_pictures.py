"""Writes docs/pictures/: what `cubital carryover --plot` and `cubital fill --plot` draw, at the shipped defaults.

Run it after changing the chemistry or its facts: `.venv/bin/python scripts/write_docs_pictures.py`. A test compares the
pictures with what the code draws now.
"""

from __future__ import annotations

import contextlib
import io
from pathlib import Path

from cubital.cli.main import status_of

PICTURES = Path(__file__).resolve().parents[1] / "docs" / "pictures"
COMMANDS = {
    "carry-over.svg": ("carryover", "edta", "serum-gel", "--into-ml", "3.5"),
    "fill.svg": ("fill", "citrate", "--altitude-m", "1609"),
}


def write_pictures(folder: Path) -> None:
    """Draw every picture into this folder."""
    for name, command in COMMANDS.items():
        with contextlib.redirect_stdout(io.StringIO()):
            status = status_of([*command, "--plot", str(folder / name)])
        if status != 0:
            raise SystemExit(f"{name}: cubital {' '.join(command)} ended with {status}")


if __name__ == "__main__":
    PICTURES.mkdir(parents=True, exist_ok=True)
    write_pictures(PICTURES)
    print(f"wrote {', '.join(COMMANDS)}")

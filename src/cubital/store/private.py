"""Files of a record that nobody but their owner reads or writes: 0600, in folders of 0700."""

from __future__ import annotations

import os
from pathlib import Path

_FILE, _FOLDER, _OTHERS = 0o600, 0o700, 0o077


def make_folders(path: Path) -> None:
    """Make each folder that is missing on the way to this file; what is there is left as it is."""
    for folder in reversed(path.absolute().parents):
        if not folder.exists():
            folder.mkdir(mode=_FOLDER)


def make_private(path: Path) -> None:
    """Make this file, empty, unless it is there."""
    os.close(os.open(path, os.O_WRONLY | os.O_CREAT, _FILE))


def is_private(path: Path) -> bool:
    """Whether nobody but its owner, and root, may read or write this file."""
    return not path.stat().st_mode & _OTHERS

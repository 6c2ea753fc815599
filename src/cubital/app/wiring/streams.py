"""The bytes of a file or of what comes in, and what is said where they cannot be had."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from cubital.errors import ExchangeError


def read_bytes(path: str, *, stdin: Any) -> bytes:
    """What this file holds, `-` being what comes in; raises `ExchangeError` where it cannot be read."""
    from cubital.exchange.json_bytes import MOST_BYTES

    # One byte over the bound: enough for the reader to refuse it, without holding the rest.
    if path == "-":
        return bytes(stdin.read(MOST_BYTES + 1))
    try:
        with open(path, "rb") as file:
            return file.read(MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        raise unreadable(path, error) from None


def write_bytes(path: str, data: bytes) -> None:
    """Write these bytes as this file, `-` being what goes out; raises `ExchangeError` where it cannot be written."""
    import sys

    if path == "-":
        sys.stdout.buffer.write(data)
        return
    try:
        Path(path).write_bytes(data)
    except (OSError, ValueError) as error:
        said = getattr(error, "strerror", None) or str(error)
        raise ExchangeError(f"found {said}; expected a file that can be written; name another", where=path) from None


def unreadable(path: str, error: Exception) -> ExchangeError:
    """The error for a file that cannot be read."""
    said = getattr(error, "strerror", None) or str(error)
    return ExchangeError(f"found {said}; expected a file that can be read; name another", where=path)

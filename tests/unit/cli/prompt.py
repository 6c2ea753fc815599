"""Running one command in this process, as the prompt would."""

from __future__ import annotations

import contextlib
import io
import sys
from typing import Any, NamedTuple
from unittest import mock

import msgspec

from cubital.cli.main import status_of


class Said(NamedTuple):
    """What one command printed and left with."""

    status: int
    out: str
    err: str

    def documents(self) -> list[Any]:
        """The JSON documents on stdout, one a line."""
        return [msgspec.json.decode(line) for line in self.out.splitlines()]


def say(*arguments: str, stdin: bytes = b"") -> Said:
    """Run `cubital` with these arguments."""
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", write_through=True) for _ in range(2))
    with (
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        mock.patch.object(sys, "stdin", io.TextIOWrapper(io.BytesIO(stdin))),
    ):
        status = status_of(list(arguments))
    texts = [stream.buffer.getvalue().decode() for stream in (out, err)]
    return Said(status, *texts)

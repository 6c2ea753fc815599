"""How requests arrive: each within a time, and no more worked on at once than the server can hold."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, contextmanager

from starlette.exceptions import HTTPException
from starlette.types import Message, Receive

FULL = (
    "More is asked of the server now than it can do. Nothing of this was recorded. Wait a few seconds, then send or "
    "load it again. What is tapped on the Take page stays on the device and is sent by itself."
)
SLOW = "This came too slowly and was not read. Nothing of it was recorded. Send it again."
AGAIN_S = 3
"""After so many seconds a station may ask again (RFC 9110, 10.2.3: Retry-After)."""
LEAST_S, LEAST_BYTES_PER_S = 30.0, 64 * 1024
"""What is sent has so long to arrive, and more where it may be large: half a megabit a second is enough."""


def arrival_s(most_bytes: int) -> float:
    """The seconds within which a request of at most so many bytes must have arrived.

    >>> arrival_s(256 * 1024), arrival_s(20 * 1024 * 1024)
    (34.0, 350.0)
    """
    return LEAST_S + most_bytes / LEAST_BYTES_PER_S


def said_bytes(length: str) -> int:
    """How many bytes a request says that it brings (Content-Length); 0 where it says nothing.

    >>> said_bytes("12"), said_bytes("")
    (12, 0)
    """
    return int(length[:20]) if length.isascii() and length.isdigit() else 0


def bounded(receive: Receive, most_bytes: int) -> Receive:
    """What receives a request, and raises `HTTPException` 413 once more has come than so many bytes."""
    came = 0

    async def receive_bounded() -> Message:
        nonlocal came
        message = await receive()
        came += len(message.get("body", b""))
        if came > most_bytes:
            raise HTTPException(413)
        return message

    return receive_bounded


BUSY = (
    "Other files are being read now, one after another. Nothing of this one was taken in. Wait a few seconds, then "
    "send it again."
)


class FileQueue:
    """The files that are read now: one at a time, so that a large one slows nobody but those who bring the next."""

    def __init__(self, most_waiting: int = 4) -> None:
        self._waiting = Crowd(most_waiting)
        self._turn = asyncio.Lock()

    @asynccontextmanager
    async def turn(self) -> AsyncIterator[bool]:
        """Wait for one's turn, which ends with the block; False, at once, where too many wait already."""
        with self._waiting.entered() as is_let_in:
            if not is_let_in:
                yield False
                return
            async with self._turn:
                yield True


class Crowd:
    """The requests that pages work on now; counted by the one thread of the event loop only.

    Forty of them have a thread (anyio's default), the others wait for one.
    """

    def __init__(self, most: int) -> None:
        self._most, self._inside = most, 0

    @contextmanager
    def entered(self) -> Iterator[bool]:
        """Whether there is room for one more; it leaves with the block."""
        is_let_in = self._inside < self._most
        self._inside += is_let_in
        try:
            yield is_let_in
        finally:
            self._inside -= is_let_in

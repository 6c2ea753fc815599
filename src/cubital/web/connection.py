"""One connection as uvicorn keeps it, with what uvicorn leaves open: a head that never ends, and too many of them."""

from __future__ import annotations

import asyncio
from typing import Any

import h11
from starlette.responses import PlainTextResponse
from uvicorn.protocols.http.h11_impl import H11Protocol

from cubital.web.arrival import AGAIN_S, FULL
from cubital.web.headers import FIXED

HEAD_S = 20.0
"""So long a connection may be open, or a request begun, before its head has arrived whole."""
LINGER_S = 30.0
"""So long what still comes of a request is thrown away once it is answered: shut at once, the answer would be lost."""
MOST_CONNECTIONS = 800
"""Below the 1024 files that a process may have open unless told otherwise; a browser keeps up to six connections."""


class GuardedConnection(H11Protocol):
    """HTTP/1.1 by h11: shut where what is awaited does not come; told that the server is full where it is."""

    _awaited: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait for the first head."""
        super().connection_made(transport)
        if len(self.connections) > MOST_CONNECTIONS:
            self.app = _answer_full
        self._await(HEAD_S)

    def data_received(self, data: bytes) -> None:
        """Read on; what is a whole head has arrived, what is a part of one goes on being waited for."""
        super().data_received(data)
        if self.conn.their_state is h11.IDLE:
            self._await(HEAD_S)
        elif not self._is_answered_early():
            self._stop_waiting()

    def on_response_complete(self) -> None:
        """Go on to the next request; what still comes of an answered one is thrown away, but not for ever."""
        super().on_response_complete()
        if self._is_answered_early():
            self._await(LINGER_S)

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait for nothing any more."""
        self._stop_waiting()
        super().connection_lost(exc)

    def timeout_keep_alive_handler(self) -> None:
        """Shut an idle connection; at once where what was answered is not taken."""
        if self.transport.get_write_buffer_size():
            self.transport.abort()
        super().timeout_keep_alive_handler()

    def _is_answered_early(self) -> bool:
        """Whether the answer was given, a refusal say, before all of the request had come."""
        return self.conn.their_state is h11.SEND_BODY and self.cycle.response_complete

    def _await(self, seconds: float) -> None:
        if self._awaited is None and not self.transport.is_closing():
            self._awaited = self.loop.call_later(seconds, self.transport.abort)

    def _stop_waiting(self) -> None:
        if self._awaited is not None:
            self._awaited.cancel()
            self._awaited = None


async def _answer_full(scope: Any, receive: Any, send: Any) -> None:
    headers = {**FIXED, "Cache-Control": "no-store", "Connection": "close", "Retry-After": str(AGAIN_S)}
    await PlainTextResponse(FULL, 503, headers=headers)(scope, receive, send)

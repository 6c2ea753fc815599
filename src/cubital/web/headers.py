"""The headers of every answer, and the names that the server answers to."""

from __future__ import annotations

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from cubital.web.desk import Settings

# No inline script, no inline style, nothing from another host, in no frame.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; font-src 'self'; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
FIXED = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    # Not no-referrer: with it a browser sends `Origin: null` with our own forms.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
}
STRICT_TRANSPORT = "max-age=31536000"


class GuardedHeaders:
    """Puts the headers on every answer, and refuses a request for a name that is not the server's."""

    def __init__(self, app: ASGIApp, settings: Settings) -> None:
        self._app = app
        self._settings = settings

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def send_guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in FIXED.items():
                    headers[name] = value
                headers.setdefault("Cache-Control", "no-store")
                if self._settings.is_behind_tls:
                    headers["Strict-Transport-Security"] = STRICT_TRANSPORT
            await send(message)

        # A page of another host whose name is made to point here must not be answered (DNS rebinding).
        if _name_of(Headers(scope=scope).get("host", "")) not in self._settings.names:
            await PlainTextResponse("This server does not answer to this name.", 421)(scope, receive, send_guarded)
            return
        await self._app(scope, receive, send_guarded)


def _name_of(host: str) -> str:
    """The name of a Host header without its port.

    >>> _name_of("localhost:8000"), _name_of("[::1]:8000"), _name_of("127.0.0.1")
    ('localhost', '[::1]', '127.0.0.1')
    """
    if host.startswith("["):
        return host.partition("]")[0].lower() + "]"
    return host.partition(":")[0].lower()

"""The few files that the pages load: read once, named by what is in them, so that a browser may keep them.

They alone are sent compressed. A page is not: it holds the token of its forms beside words that were sent to it, and
the length of both compressed together would tell of the token what nobody may know (the attack called BREACH).
"""

from __future__ import annotations

import gzip
import hashlib
from importlib.resources import files

from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response

_KINDS = {
    ".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".woff2": "font/woff2",
    ".svg": "image/svg+xml",
}  # fmt: skip


class StaticFiles:
    """The files of one folder by their exact names: no path is ever put together from a request."""

    def __init__(self) -> None:
        folder = files("cubital.web") / "static"
        self._files = {one.name: one.read_bytes() for one in folder.iterdir() if _suffix(one.name) in _KINDS}
        # What a font saves is lost in the unpacking: it is compressed as it is.
        self._packed = {
            name: gzip.compress(data, 9, mtime=0) for name, data in self._files.items() if _suffix(name) != ".woff2"
        }
        self._marks = {name: hashlib.sha256(data).hexdigest()[:12] for name, data in self._files.items()}

    def address(self, name: str) -> str:
        """Where a page finds this file; the address changes with what is in it."""
        return f"/static/{name}?v={self._marks[name]}"

    async def serve(self, request: Request) -> Response:
        """The file that was asked for, and nothing else."""
        name = request.path_params["name"]
        data = self._files.get(name)
        if data is None:
            return PlainTextResponse("There is no such file.", 404)
        is_current = request.query_params.get("v") == self._marks[name]
        kept = "public, max-age=31536000, immutable" if is_current else "public, max-age=3600"
        headers = {"Content-Type": _KINDS[_suffix(name)], "Cache-Control": kept, "Vary": "Accept-Encoding"}
        if name in self._packed and _takes_gzip(request.headers.get("accept-encoding", "")):
            return Response(self._packed[name], headers={**headers, "Content-Encoding": "gzip"})
        return Response(data, headers=headers)


def _takes_gzip(accepted: str) -> bool:
    """Whether a browser that accepts this takes gzip (RFC 9110, 12.5.3).

    >>> _takes_gzip("br, gzip"), _takes_gzip("gzip;q=0, br"), _takes_gzip("identity")
    (True, False, False)
    """
    for one in accepted.split(","):
        coding, _, weight = one.partition(";")
        if coding.strip().lower() == "gzip":
            return weight.replace(" ", "").lower() not in ("q=0", "q=0.0", "q=0.00", "q=0.000")
    return False


def _suffix(name: str) -> str:
    return "." + name.rpartition(".")[2]

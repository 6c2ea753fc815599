"""The few files that the pages load: read once, named by what is in them, so that a browser may keep them."""

from __future__ import annotations

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
        return Response(data, headers={"Content-Type": _KINDS[_suffix(name)], "Cache-Control": kept})


def _suffix(name: str) -> str:
    return "." + name.rpartition(".")[2]

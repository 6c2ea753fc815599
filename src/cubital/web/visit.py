"""One request as a page sees it: who asks, what was sent, how to look; and the answers that a page may give."""

from __future__ import annotations

import hashlib
import hmac
from collections.abc import Mapping
from datetime import timedelta
from functools import partial
from typing import Any

import msgspec
from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.datastructures import FormData, QueryParams, UploadFile
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from cubital.app.accounts import Visitor
from cubital.app.printing import cautions
from cubital.web.desk import Desk, Settings
from cubital.web.static_files import StaticFiles

THEMES, SIZES = ("system", "light", "dark"), ("normal", "projector")
LOOK_COOKIE = "cubital-look"


class Visit:
    """One request, read once; `form` is empty unless something was sent."""

    def __init__(
        self, request: Request, desk: Desk, pages: Templates, *, form: FormData | None = None, body: bytes = b""
    ) -> None:
        self.request = request
        self.body = body
        self.desk = desk
        self.visitor: Visitor | None = None
        self.secret: str = request.cookies.get(session_cookie(desk.settings), "")
        self.fresh_visit: str | None = None
        self._form: FormData | QueryParams = form if form is not None else QueryParams("")
        self._pages = pages

    @property
    def method(self) -> str:
        """How it was asked; a question for the headers alone is one for the page."""
        return "GET" if self.request.method == "HEAD" else self.request.method

    @property
    def path(self) -> str:
        """The path of the page."""
        return self.request.url.path

    @property
    def query(self) -> QueryParams:
        """What stands behind the question mark."""
        return self.request.query_params

    @property
    def is_partial(self) -> bool:
        """Whether a part of a page was asked for and not the whole."""
        return self.request.headers.get("hx-request") == "true"

    @property
    def address(self) -> str:
        """From where the request came, for throttling only."""
        return self.request.client.host if self.request.client is not None else ""

    def said(self, name: str) -> str:
        """What was sent under this name; empty where nothing was."""
        value = self._form.get(name, "")
        return value if isinstance(value, str) else ""

    def all_said(self, name: str) -> list[str]:
        """Everything that was sent under this name."""
        return [value for value in self._form.getlist(name) if isinstance(value, str)]

    def file(self, name: str) -> tuple[str, bytes] | None:
        """The name and the bytes of the file that was sent under this name; None where none was."""
        value = self._form.get(name)
        if not isinstance(value, UploadFile):
            return None
        return value.filename or "", value.file.read()

    def holds_nul(self) -> bool:
        """Whether a NUL was sent, which no browser types and no text in PostgreSQL may hold."""
        sent = (*self.query.multi_items(), *self._form.multi_items())
        return any("\0" in text for pair in sent for text in pair if isinstance(text, str))

    @property
    def look(self) -> tuple[str, str]:
        """The theme and the size that this browser chose."""
        theme, _, size = self.request.cookies.get(LOOK_COOKIE, "").partition(".")
        return (theme if theme in THEMES else THEMES[0], size if size in SIZES else SIZES[0])

    @property
    def token(self) -> str:
        """The token that a form of this browser must send back; it follows from a cookie that no other site sees.

        Empty where it is not known yet who asks: then a page shows no form.
        """
        key = self.secret if self.visitor is not None else self.visit_key
        return "" if not key else hmac.new(key.encode(), b"form of cubital", hashlib.sha256).hexdigest()

    @property
    def visit_key(self) -> str:
        """What marks this browser before anyone signs in."""
        return self.fresh_visit or self.request.cookies.get(visit_cookie(self.desk.settings), "")

    def page(self, template: str, context: Mapping[str, Any] | None = None, *, status: int = 200) -> Response:
        """This template as a whole page."""
        return HTMLResponse(self._pages.render(self, template, context or {}), status)

    def json(self, document: Mapping[str, Any], *, status: int = 200) -> Response:
        """This document as JSON."""
        return Response(msgspec.json.encode(document), status, media_type="application/json")

    def go(self, path: str) -> Response:
        """Send the browser to another page of ours."""
        if self.is_partial:
            return Response(status_code=204, headers={"HX-Redirect": path})
        return RedirectResponse(path, 303)


class Templates:
    """The templates, with what every page shows."""

    def __init__(self, static: StaticFiles) -> None:
        self._environment = Environment(
            loader=PackageLoader("cubital.web", "templates"), autoescape=True, undefined=StrictUndefined,
            trim_blocks=True, lstrip_blocks=True,
        )  # fmt: skip
        self._environment.filters["through"] = lambda key, table: table[key]
        self._environment.globals.update(
            static=static.address, always=cautions(), themes=THEMES, sizes=SIZES
        )

    def render(self, visit: Visit, template: str, context: Mapping[str, Any]) -> str:
        """The text of one page."""
        from cubital.web.pages import menu_of, opens

        theme, size = visit.look
        shared = {
            "visitor": visit.visitor, "token": visit.token, "theme": theme, "size": size, "path": visit.path,
            "menu": menu_of(visit.visitor), "is_partial": visit.is_partial, "site_name": visit.desk.site.name,
            "opens": partial(opens, visit.visitor),
        }  # fmt: skip
        return self._environment.get_template(template).render({**shared, **context})


def session_cookie(settings: Settings) -> str:
    """The name of the cookie of a session; behind TLS one that no neighbouring host can set (RFC 6265bis)."""
    return "__Host-cubital" if settings.is_behind_tls else "cubital"


def visit_cookie(settings: Settings) -> str:
    """The name of the cookie that marks a browser before it is signed in."""
    return "__Host-cubital-visit" if settings.is_behind_tls else "cubital-visit"


def marks_cookie(settings: Settings) -> str:
    """The name of the cookie that says who signed in with this device before."""
    return "__Host-cubital-device" if settings.is_behind_tls else "cubital-device"


def set_cookie(
    response: Response, name: str, value: str, settings: Settings, *, lasts: timedelta | None = None
) -> None:
    """Set a cookie that no script reads and no other site sends; it ends with the browser, or `lasts` so long."""
    response.set_cookie(
        name, value, httponly=True, samesite="strict", secure=settings.is_behind_tls, path="/",
        max_age=None if lasts is None else int(lasts.total_seconds()),
    )  # fmt: skip


def drop_cookie(response: Response, name: str, settings: Settings) -> None:
    """Take a cookie back."""
    response.delete_cookie(name, httponly=True, samesite="strict", secure=settings.is_behind_tls, path="/")

"""What every request passes before a page sees it: origin, token, session, role; and what becomes of a fault."""

from __future__ import annotations

import asyncio
import hmac
import logging
import secrets
from collections.abc import Callable
from typing import TypeVar
from urllib.parse import urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response

from cubital.app.accounts import Visitor
from cubital.errors import RecordUnavailable
from cubital.web.arrival import AGAIN_S, BUSY, FULL, SLOW, Crowd, FileQueue, arrival_s, bounded, said_bytes
from cubital.web.desk import Desk
from cubital.web.pages import MOST_BYTES, Page
from cubital.web.trail_lines import NOTED
from cubital.web.visit import Templates, Visit, set_cookie, visit_cookie

FORM, FORM_WITH_FILES, JSON = "application/x-www-form-urlencoded", "multipart/form-data", "application/json"
_Answer = TypeVar("_Answer")
_LOG = logging.getLogger("cubital.web")


class Gate:
    """The way of one page's requests: checked here, answered by the page, faults confessed without their words."""

    def __init__(self, page: Page, desk: Desk, templates: Templates, crowd: Crowd, files: FileQueue) -> None:
        self._page, self._desk, self._templates, self._crowd = page, desk, templates, crowd
        self._files = files

    async def answer(self, request: Request) -> Response:
        """The answer to one request."""
        if request.method in ("GET", "HEAD"):
            return await self._work(Visit(request, self._desk, self._templates), self._pass)
        # Not by `max_body_size` of Starlette: its answer is plain text without our headers, in the page's place.
        request = Request(request.scope, bounded(request.receive, self._page.most_bytes))
        refused = await self._refuse_head(Visit(request, self._desk, self._templates))
        if refused is not None:
            return refused
        try:
            async with asyncio.timeout(arrival_s(self._page.most_bytes)):
                visit = await self._read(request)
        except (HTTPException, TimeoutError) as error:
            status = error.status_code if isinstance(error, HTTPException) else 408
            said = {413: self._too_much, 408: SLOW}.get(status, "This form cannot be read.")
            return self._refuse(Visit(request, self._desk, self._templates), status, said)
        except ClientDisconnect:
            return Response(status_code=400)  # nobody is there to read it
        try:
            if self._page.most_files:
                async with self._files.turn() as is_its_turn:
                    return await self._work(visit, self._pass) if is_its_turn else self._refuse_later(visit, BUSY)
            return await self._work(visit, self._pass)
        finally:
            await visit.request.close()

    async def _refuse_head(self, stranger: Visit) -> Response | None:
        """The refusal of what its head alone forbids, before anything of its body is read."""
        request = stranger.request
        if not is_from_here(request, is_behind_tls=self._desk.settings.is_behind_tls):
            return self._refuse(stranger, 403, FOREIGN)
        kind, _, more = request.headers.get("content-type", "").lower().partition(";")
        # In UTF-7 and the like a form could hold halves of letters that nothing can write.
        is_ours = "charset" not in more or more.partition("charset=")[2].strip(' "') in ("utf-8", "utf8")
        if kind.strip() not in self._forms() or not is_ours:
            return self._refuse(stranger, 415, f"{'JSON' if self._page.is_json else 'A form'} was expected.")
        if self._page.most_bytes > MOST_BYTES:
            # Much is read only from those who may send it.
            refused = await self._work(stranger, self._refuse_unread)
            if refused is not None:
                return refused
        if said_bytes(request.headers.get("content-length", "")) > self._page.most_bytes:
            return self._refuse(stranger, 413, self._too_much)
        return None

    @property
    def _too_much(self) -> str:
        most = self._page.most_bytes
        size = f"{most >> 20} MB" if most >> 20 else f"{most >> 10} kB"
        return f"More was sent than this page takes: at most {size}. Nothing was changed."

    async def _read(self, request: Request) -> Visit:
        if self._page.is_json:
            return Visit(request, self._desk, self._templates, body=await request.body())
        form = await request.form(
            max_files=self._page.most_files, max_fields=self._page.most_fields, max_part_size=MOST_BYTES
        )
        return Visit(request, self._desk, self._templates, form=form)

    async def _work(self, visit: Visit, step: Callable[[Visit], _Answer]) -> _Answer | Response:
        """What this step answers, in a thread of its own; a refusal where too many wait for one."""
        with self._crowd.entered() as is_let_in:
            if is_let_in:
                return await run_in_threadpool(self._answer, visit, step)
        return self._refuse_later(visit, FULL)

    def _refuse_later(self, visit: Visit, said: str) -> Response:
        """The refusal of what may be sent again in a moment."""
        refused = self._refuse(visit, 503, said)
        refused.headers["Retry-After"] = str(AGAIN_S)
        return refused

    def _forms(self) -> tuple[str, ...]:
        """The kinds of content that this page reads."""
        if self._page.is_json:
            return (JSON,)
        return (FORM, FORM_WITH_FILES) if self._page.most_files else (FORM,)

    def _answer(self, visit: Visit, step: Callable[[Visit], _Answer]) -> _Answer | Response:
        try:
            return step(visit)
        except RecordUnavailable as error:
            self._confess(error)
            return self._refuse(visit, 503, "The database cannot be used now. Nothing was recorded; try again.")
        except Exception as error:
            # The words of an unforeseen error may hold what was typed: only its kind and its place are logged.
            self._confess(error)
            return self._refuse(visit, 500, "This is a defect of cubital. Nothing was changed that was not said.")

    def _pass(self, visit: Visit) -> Response:
        visit.desk = self._desk.newest()
        visit.visitor = self._visitor_of(visit) if visit.secret else None
        if visit.visitor is None and not visit.visit_key:
            visit.fresh_visit = secrets.token_urlsafe()
        refused = self._refuse_request(visit)
        if refused is None:
            self._note(visit)
        response = refused or self._page.answers[visit.method](visit)
        if visit.fresh_visit is not None:
            set_cookie(response, visit_cookie(self._desk.settings), visit.fresh_visit, self._desk.settings)
        return response

    def _note(self, visit: Visit) -> None:
        """Write the line of this request into the trail, before its answer: what cannot be written is not shown."""
        line = NOTED.get((visit.method, self._page.path))
        if line is None or visit.visitor is None or (line.when is not None and not line.when(visit)):
            return
        self._desk.accounts.note(visit.visitor, line.did, about="" if line.about is None else line.about(visit))

    def _refuse_unread(self, visit: Visit) -> Response | None:
        """The refusal of one who may not send here, before anything of what was sent is read."""
        visit.desk = self._desk.newest()
        visit.visitor = self._visitor_of(visit) if visit.secret else None
        return self._refuse_visitor(visit)

    def _visitor_of(self, visit: Visit) -> Visitor | None:
        return self._desk.accounts.visitor(visit.secret, is_awake=self._page.is_by_hand)

    def _refuse_request(self, visit: Visit) -> Response | None:
        """The answer in the page's place; None where the page may answer."""
        if visit.holds_nul():
            return self._refuse(visit, 400, "This cannot be read.")
        is_sending = visit.method != "GET"
        is_form = is_sending and not self._page.is_json
        if is_form and (visit.fresh_visit or not hmac.compare_digest(visit.said("token").encode(), _bytes(visit))):
            return self._refuse(visit, 403, "This page is too old to send. Load it again; nothing was changed.")
        return self._refuse_visitor(visit)

    def _refuse_visitor(self, visit: Visit) -> Response | None:
        """The answer to one who is not signed in, or whose role does not open this page; None where it does."""
        is_sending = visit.method != "GET"
        if self._page.roles is None:
            return None
        if visit.visitor is None:
            if is_sending or self._page.is_json:
                return visit.go("/sign-in") if visit.is_partial else self._refuse(visit, 401, "Sign in first.")
            return visit.go("/set-up" if self._desk.accounts.is_new() else "/sign-in")
        if visit.visitor.account.role not in self._page.roles:
            self._desk.accounts.note(visit.visitor, "was refused", about=self._page.path)
            return self._refuse(visit, 403, "Your role does not open this page.")
        if visit.visitor.account.must_change and self._page.path not in ("/password", "/sign-out"):
            return self._refuse(visit, 403, MUST_CHANGE) if self._page.is_json else visit.go("/password")
        return None

    def _refuse(self, visit: Visit, status: int, said: str) -> Response:
        if self._page.is_json:
            return visit.json({"format": "cubital.error/1", "error": "Refused", "message": said}, status=status)
        return visit.page("refusal.html", {"status": status, "said": said}, status=status)

    def _confess(self, error: Exception) -> None:
        frame = error.__traceback__
        while frame is not None and frame.tb_next is not None:
            frame = frame.tb_next
        place = f"{frame.tb_frame.f_globals.get('__name__')} line {frame.tb_lineno}" if frame is not None else "?"
        _LOG.error("%s at %s, answering %s", type(error).__name__, place, self._page.path)


MUST_CHANGE = "Your password must be changed first, on the page."
FOREIGN = "This was sent from another page than ours. Nothing was changed."


def is_from_here(request: Request, *, is_behind_tls: bool) -> bool:
    """Whether a browser says that our own page sent this; one that says nothing is not believed."""
    site = request.headers.get("sec-fetch-site")
    if site is not None and site != "same-origin":
        return False
    origin = request.headers.get("origin")
    if origin is None:
        return site == "same-origin"
    found = urlsplit(origin)
    scheme = "https" if is_behind_tls else "http"
    return (found.scheme, found.netloc.lower()) == (scheme, request.headers.get("host", "").lower())


def _bytes(visit: Visit) -> bytes:
    return visit.token.encode()

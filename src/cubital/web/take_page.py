"""The Take page: a planned draw, one tube at a time; what is tapped comes here once, however often it is sent."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import Any

from starlette.responses import JSONResponse, Response

from cubital.app.patient_check import Said
from cubital.app.printing import DEFAULT_STOCK
from cubital.app.taking import Takings
from cubital.app.taking_labels import print_filled
from cubital.app.taking_rules import Told
from cubital.app.taking_site import FOLDER, site_of_draw
from cubital.app.taking_steps import steps_of
from cubital.app.taking_words import WHY_WORDS
from cubital.app.typed_order import answer_typed
from cubital.errors import (
    ClockSetBack,
    CubitalError,
    KeyReused,
    RecordUnavailable,
    TakingError,
    WrongPatient,
)
from cubital.facts.labels import label_stock
from cubital.model.taking import TAP_KINDS, Tap
from cubital.web import draw_page
from cubital.web.take_view import line_of, view_of
from cubital.web.visit import Visit

TAKERS = frozenset({"collector", "supervisor"})
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MOST_MS = 4_102_444_800_000
# What the script of the page makes itself: a key at the tap, and a name of the device once. The server's own notes of
# a print have keys with `printed`; a tap under one would stand in the way of the next.
_KEY, _STATION = re.compile(r"(?!.*/printed/)[\w./-]{8,150}", re.ASCII), re.compile(r"[\w-]{3,40}", re.ASCII)
_BEGIN_KEY = re.compile(r"[\w-]{16,40}", re.ASCII)
_FIELDS = ("name", "number", "born", "stated_name", "stated_second")
_NOTED = {
    "identified": "checked two identifiers", "mismatched": "was stopped: identifiers did not agree",
    "filled": "filled a tube", "not-drawn": "left a tube out",
    "labelled": "confirmed a label", "finished": "finished a draw", "set-aside": "set a draw aside",
}  # fmt: skip
_STOPPED = {
    "identifiers": "was stopped: identifiers did not agree",
    "label": "was stopped: the label was of another tube or patient",
}
SHELL = (
    "cubital.css", "take.css", "take_identity.js", "take_whose.js", "take_forget.js", "take_keep.js", "take_send.js",
    "take_checked.js", "take_screens.js", "take.js", "mark.svg",
)  # fmt: skip
SHELL_FONTS = ("plex-condensed-regular.woff2", "plex-condensed-semibold.woff2")


def open_page(visit: Visit) -> Response:
    """The page without any draw in it: its script asks for one."""
    return _page(visit)


def shell(visit: Visit) -> Response:
    """The same page as nobody sees it, for a device to keep: no name, no token, no patient."""
    return _page(visit, {"visitor": None, "token": "", "menu": ()})


def worker(visit: Visit) -> Response:
    """The script that lets the page be loaded again without a connection; it keeps the shell and nothing else."""
    text = visit.page("take_worker.js", {"files": SHELL, "fonts": SHELL_FONTS}).body
    headers = {"Service-Worker-Allowed": "/take", "Cache-Control": "no-cache"}
    return Response(bytes(text), media_type="text/javascript", headers=headers)


def begin(visit: Visit) -> Response:
    """Take in hand the draw that the Draw page showed, or show there why it has no plan."""
    assert visit.visitor is not None
    desk = visit.desk
    try:
        fields = draw_page.read_fields(visit)
        answer = answer_typed(
            visit.said("tests"), fields, desk.site, directory=desk.directory, today=desk.today(),
            amend=draw_page.amend_of(visit),
        )  # fmt: skip
    except CubitalError:
        return draw_page.plan(visit)
    key = visit.said("key")
    if answer.plan is None or answer.order is None or answer.doubts or _BEGIN_KEY.fullmatch(key) is None:
        return draw_page.plan(visit)
    takings, account = _takings(visit), visit.visitor.account.name
    number = FOLDER if desk.edition is None else desk.edition.number
    try:
        taking = takings.begin(answer.order, answer.plan, by=account, site_version=number, key=f"{account}/{key}")
    except KeyReused:
        return draw_page.plan(visit)
    desk.accounts.note(visit.visitor, "took a draw in hand", about=taking.code)
    return visit.go(f"/take?draw={taking.code}")


def about_draw(visit: Visit) -> str:
    """The code of the draw that is asked for, for the trail; nothing where there is none of it."""
    try:
        return _takings(visit).look(visit.query.get("draw", ""))[0].code
    except (TakingError, RecordUnavailable):
        return ""


def draws(visit: Visit) -> Response:
    """The draws that wait, or the one of this code; with the token and the name that the page sends with."""
    assert visit.visitor is not None
    code = visit.query.get("draw", "")
    found: dict[str, Any] = {"token": visit.token, "account": visit.visitor.account.name, "draws": [], "draw": None}
    takings = _takings(visit)
    found["now"] = int(takings.now().timestamp() * 1000)
    if not code:
        found["draws"] = [line_of(visit, taking, taps) for taking, taps in takings.waiting()]
        return JSONResponse(found)
    try:
        found["draw"] = view_of(visit, *takings.look(code), takings.standing_checks(code))
    except TakingError as error:
        found["said"] = error.message
    return JSONResponse(found)


def tap(visit: Visit) -> Response:
    """Take one tap in. A refusal is an answer like any other, which the page shows: `ok` is false, `said` says why."""
    assert visit.visitor is not None
    if visit.said("by") != visit.visitor.account.name:
        return JSONResponse({"ok": False, "again": True, "said": "tapped by another; they must sign in to send it"})
    if visit.said("kind") == "stopped":
        _note(visit, _STOPPED.get(visit.said("why"), "was stopped"))
        return JSONResponse({"ok": True})
    takings = _takings(visit)
    try:
        told = _told(visit)
        is_known = takings.knows(told.key)
        tapped = takings.tap(told)
    except (RecordUnavailable, ClockSetBack) as error:
        return JSONResponse({"ok": False, "again": True, "said": error.message})
    except CubitalError as error:
        if isinstance(error, WrongPatient):
            _note(visit, _STOPPED["label" if visit.said("kind") == "labelled" else "identifiers"])
        is_stop = not isinstance(error, TakingError) or isinstance(error, WrongPatient)
        return JSONResponse({"ok": False, "again": False, "stop": is_stop, "said": str(error)})
    if not is_known:
        visit.desk.accounts.note(visit.visitor, _NOTED[tapped.kind], about=_about(takings, tapped))
    return JSONResponse({"ok": True})


def labels(visit: Visit) -> Response:
    """The labels of filled tubes, to print at the patient."""
    assert visit.visitor is not None
    code, steps = visit.said("draw"), visit.all_said("step")
    numbers = [int(one) for one in steps if one.isascii() and one.isdigit() and len(one) < 4]
    takings, desk = _takings(visit), visit.desk
    try:
        site = site_of_draw(takings.look(code)[0], desk.sites, desk.site)
        pdf = print_filled(
            takings, site, code, numbers, stock=visit.said("stock"),
            by=visit.visitor.account.name, station=_station(visit), today=desk.today(),
        )  # fmt: skip
    except CubitalError as error:
        return visit.page("refusal.html", {"status": 422, "said": error.message}, status=422)
    _note(visit, f"printed {len(numbers)} label{'' if len(numbers) == 1 else 's'}")
    return Response(
        pdf, media_type="application/pdf", headers={"Content-Disposition": f'inline; filename="labels-{code}.pdf"'}
    )


def _page(visit: Visit, more: dict[str, Any] | None = None) -> Response:
    stocks = [(key, stock.name) for key, stock in label_stock().items()]
    context = {"stocks": stocks, "first_stock": DEFAULT_STOCK, "whys": WHY_WORDS, "shell": SHELL[2:-1]}
    return visit.page("take.html", context | (more or {}))


def _takings(visit: Visit) -> Takings:
    found = visit.desk.takings
    if found is None:
        raise RecordUnavailable("found no draws in hand; expected the database of a record", where="take")
    return found


def _told(visit: Visit) -> Told:
    assert visit.visitor is not None
    kind = next((one for one in TAP_KINDS if one == visit.said("kind")), None)
    key, step = visit.said("key"), visit.said("step")
    if kind is None or _KEY.fullmatch(key) is None or not (step.isascii() and step.isdigit() and len(step) < 4):
        raise TakingError("found no such tap; expected one of the page's own; load the page again", where="tap")
    said = Said(*(visit.said(name) for name in _FIELDS)) if kind == "identified" else None
    return Told(
        key=key, code=visit.said("draw"), kind=kind, step=int(step), device_at=_moment(visit, "at"),
        device_now=_moment(visit, "now"), by=visit.visitor.account.name, station=_station(visit),
        why=visit.said("why"), scanned=visit.said("scanned"), said=said,
    )  # fmt: skip


def _moment(visit: Visit, name: str) -> datetime:
    text = visit.said(name)
    if not (text.isascii() and text.isdigit() and len(text) < 15 and int(text) < _MOST_MS):
        raise TakingError("found no instant; expected milliseconds; see this device's clock", where="time")
    return _EPOCH + timedelta(milliseconds=int(text))


def _station(visit: Visit) -> str:
    found = visit.said("station")
    if _STATION.fullmatch(found) is None:
        raise TakingError("found no name of a device; expected the page's own; load the page again", where="device")
    return found


def _note(visit: Visit, did: str) -> None:
    """Write into the trail, about the draw only where there is one of that code."""
    try:
        taking, _ = _takings(visit).look(visit.said("draw"))
    except TakingError:
        return
    visit.desk.accounts.note(visit.visitor, did, about=taking.code)


def _about(takings: Takings, tapped: Tap) -> str:
    steps = {step.number: step for step in steps_of(takings.look(tapped.taking)[0])}
    is_tube = tapped.kind in ("filled", "not-drawn", "labelled")
    specimen = steps[tapped.step].specimen if is_tube else tapped.taking
    return specimen or f"{tapped.taking}, tube {tapped.step}"

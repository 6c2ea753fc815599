"""Accounts and the trail, for those who keep them."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from starlette.responses import Response

from cubital.app.accounts import Accounts, Visitor
from cubital.app.passwords import LEAST_LETTERS, offer_password
from cubital.app.trail_search import trail_of_words
from cubital.app.wiring import say_local
from cubital.errors import AccountError, CubitalError
from cubital.model.account import ROLES, TrailAsk
from cubital.web.visit import Visit

TRAIL_LINES = 100
_Change = Callable[[Accounts, Visitor, Visit], None]


def open_page(visit: Visit) -> Response:
    """Every account, and a form for a new one; what was done before it, where something was."""
    return _page(visit)


def change(visit: Visit) -> Response:
    """Make the change that was asked, or say why not."""
    assert visit.visitor is not None
    do = visit.said("do")
    wanted = _CHANGES.get(do)
    try:
        if wanted is None:
            raise AccountError("found no such change; expected one of the page's own", where="do")
        wanted(visit.desk.accounts, visit.visitor, visit)
    except AccountError as error:
        return _page(visit, error)
    return visit.go(f"/accounts?did={do}")


def trail(visit: Visit) -> Response:
    """Who did and saw what, newest first."""
    return _trail_page(visit, TrailAsk(), before=visit.query.get("before", ""))


def search_trail(visit: Visit) -> Response:
    """The lines of one person, tube or day; sent as a form, so that what was looked for stands in no address."""
    try:
        ask = trail_of_words(
            visit.said("who"), visit.said("about"), visit.said("on"), time_zone=visit.desk.site.time_zone
        )
    except CubitalError as error:
        return _trail_page(visit, TrailAsk(), error=error)
    if not visit.said("before"):
        visit.desk.accounts.note(visit.visitor, "searched the trail")
    return _trail_page(visit, ask, before=visit.said("before"), is_search=True)


def _trail_page(
    visit: Visit, ask: TrailAsk, *, before: str = "", is_search: bool = False, error: CubitalError | None = None
) -> Response:
    assert visit.visitor is not None
    start = int(before) if before.isascii() and before.isdigit() and len(before) < 16 else None
    found = visit.desk.accounts.trail(visit.visitor, ask=ask, most=TRAIL_LINES, before=start)
    context = {
        "lines": [(line, say_local(line.at, visit.desk.site)) for line in found], "error": error,
        "older": found[-1].sequence if len(found) == TRAIL_LINES else None, "is_search": is_search,
        "said": {name: visit.said(name) for name in ("who", "about", "on")}, "zone": visit.desk.site.time_zone,
    }  # fmt: skip
    return visit.page("trail.html", context, status=200 if error is None else 422)


def _page(visit: Visit, error: AccountError | None = None) -> Response:
    from cubital.web.pages import words_of

    assert visit.visitor is not None
    context = {
        "accounts": visit.desk.accounts.all(visit.visitor), "roles": ROLES, "least": LEAST_LETTERS, "error": error,
        "name": visit.said("name") if error is not None and visit.said("do") == "add" else "",
        "did": _DID.get(visit.query.get("did", ""), ""), "offer": offer_password,
        "opens": [(role, ", ".join(words_of(role))) for role in ROLES],
    }  # fmt: skip
    return visit.page("accounts.html", context, status=200 if error is None else 422)


def _add(accounts: Accounts, visitor: Visitor, visit: Visit) -> None:
    accounts.add(visitor, visit.said("name"), visit.said("role"), visit.said("password"))


def _give_role(accounts: Accounts, visitor: Visitor, visit: Visit) -> None:
    accounts.give_role(visitor, visit.said("name"), visit.said("role"))


def _give_password(accounts: Accounts, visitor: Visitor, visit: Visit) -> None:
    accounts.give_password(visitor, visit.said("name"), visit.said("password"))


def _shut(accounts: Accounts, visitor: Visitor, visit: Visit) -> None:
    accounts.shut(visitor, visit.said("name"), is_shut=True)


def _open(accounts: Accounts, visitor: Visitor, visit: Visit) -> None:
    accounts.shut(visitor, visit.said("name"), is_shut=False)


def _revoke(accounts: Accounts, visitor: Visitor, visit: Visit) -> None:
    accounts.revoke(visitor, visit.said("name"))


_CHANGES: Mapping[str, _Change] = {
    "add": _add, "role": _give_role, "password": _give_password, "shut": _shut, "open": _open, "revoke": _revoke,
}  # fmt: skip
_DID = {
    "add": "The account was added. Tell its first password to the person alone: it opens nothing but the page to "
    "choose another.",
    "role": "The role was given; the account's sessions ended.",
    "password": "The first password was given, and the account's sessions ended. Tell it to the person alone.",
    "shut": "The account was shut and its sessions ended. It stays for the trail.",
    "open": "The account is open again, with the password it had.",
    "revoke": "The sessions ended: a lost device is out at the next tap. Give a new first password too if the old "
    "one may be known.",
}

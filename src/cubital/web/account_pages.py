"""Accounts and the trail, for those who keep them."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from starlette.responses import Response

from cubital.app.accounts import Accounts, Visitor
from cubital.app.passwords import LEAST_LETTERS
from cubital.errors import AccountError
from cubital.model.account import ROLES
from cubital.web.visit import Visit

TRAIL_LINES = 100
_Change = Callable[[Accounts, Visitor, Visit], None]


def open_page(visit: Visit) -> Response:
    """Every account, and a form for a new one."""
    return _page(visit)


def change(visit: Visit) -> Response:
    """Make the change that was asked, or say why not."""
    assert visit.visitor is not None
    wanted = _CHANGES.get(visit.said("do"))
    try:
        if wanted is None:
            raise AccountError("found no such change; expected one of the page's own", where="do")
        wanted(visit.desk.accounts, visit.visitor, visit)
    except AccountError as error:
        return _page(visit, error)
    return visit.go("/accounts")


def trail(visit: Visit) -> Response:
    """Who did and saw what, newest first."""
    assert visit.visitor is not None
    text = visit.query.get("before", "")
    before = int(text) if text.isascii() and text.isdigit() and len(text) < 16 else None
    lines = visit.desk.accounts.trail(visit.visitor, most=TRAIL_LINES, before=before)
    older = lines[-1].sequence if len(lines) == TRAIL_LINES else None
    return visit.page("trail.html", {"lines": lines, "older": older})


def _page(visit: Visit, error: AccountError | None = None) -> Response:
    assert visit.visitor is not None
    context = {
        "accounts": visit.desk.accounts.all(visit.visitor), "roles": ROLES, "least": LEAST_LETTERS, "error": error,
        "name": visit.said("name") if error is not None and visit.said("do") == "add" else "",
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

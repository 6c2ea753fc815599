"""The door: first set-up, signing in and out, one's own password, and how pages look."""

from __future__ import annotations

from starlette.responses import Response

from cubital.app.accounts import LetIn
from cubital.app.device_marks import LASTS
from cubital.app.passwords import LEAST_LETTERS
from cubital.errors import AccountError, SignInRefused
from cubital.web.visit import (
    LOOK_COOKIE,
    SIZES,
    THEMES,
    Visit,
    drop_cookie,
    marks_cookie,
    session_cookie,
    set_cookie,
    visit_cookie,
)

_YEAR_S = 365 * 24 * 3600
HOME = "/draw"
TOLD_FROM = 5
"""From so many failed tries under a name in a day its owner is told: fewer are slips of one's own."""


def open_sign_in(visit: Visit) -> Response:
    """The page to sign in; the first set-up where there is no account yet."""
    if visit.desk.accounts.is_new():
        return visit.go("/set-up")
    return visit.go(HOME) if visit.visitor is not None else _sign_in_page(visit)


def sign_in(visit: Visit) -> Response:
    """Let someone in, or say why not; a session still open in this browser ends."""
    try:
        let_in = visit.desk.accounts.let_in(
            visit.said("name"), visit.said("password"), address=visit.address, marks=_marks(visit)
        )
    except SignInRefused as error:
        return _sign_in_page(visit, error)
    if visit.visitor is not None:
        visit.desk.accounts.sign_out(visit.visitor)
    return _let_in(visit, let_in)


def open_set_up(visit: Visit) -> Response:
    """The page that makes the first account; closed once there is one."""
    if not visit.desk.accounts.is_new():
        return visit.go("/sign-in")
    return _set_up_page(visit)


def set_up(visit: Visit) -> Response:
    """Make the first account and let its owner in."""
    name, password = visit.said("name"), visit.said("password")
    try:
        if password != visit.said("again"):
            raise AccountError("found two different ones; expected the same twice", where="password")
        visit.desk.accounts.set_up(visit.said("code"), name, password)
    except AccountError as error:
        return _set_up_page(visit, error)
    return _let_in(
        visit, visit.desk.accounts.let_in(name, password, address=visit.address, marks=_marks(visit))
    )


def sign_out(visit: Visit) -> Response:
    """End the session."""
    if visit.visitor is not None:
        visit.desk.accounts.sign_out(visit.visitor)
    response = visit.go("/sign-in")
    drop_cookie(response, session_cookie(visit.desk.settings), visit.desk.settings)
    return response


def open_password(visit: Visit) -> Response:
    """The page to choose one's own password."""
    return _password_page(visit)


def change_password(visit: Visit) -> Response:
    """Take the new password."""
    assert visit.visitor is not None
    try:
        if visit.said("new") != visit.said("again"):
            raise AccountError("found two different ones; expected the same twice", where="new password")
        visit.desk.accounts.change_password(
            visit.visitor, visit.said("present"), visit.said("new"), address=visit.address
        )
    except AccountError as error:
        return _password_page(visit, error)
    return visit.go(HOME)


def look(visit: Visit) -> Response:
    """Keep how this browser wants its pages, and go back."""
    from cubital.web.pages import OPENED

    theme, size, back = visit.said("theme"), visit.said("size"), visit.said("back")
    response = visit.go(back if back in OPENED else HOME)
    if theme in THEMES and size in SIZES:
        response.set_cookie(
            LOOK_COOKIE, f"{theme}.{size}", max_age=_YEAR_S, httponly=True, samesite="strict",
            secure=visit.desk.settings.is_behind_tls,
        )  # fmt: skip
    return response


def _marks(visit: Visit) -> str:
    return visit.request.cookies.get(marks_cookie(visit.desk.settings), "")


def _let_in(visit: Visit, let_in: LetIn) -> Response:
    """Lead on, with the cookies of the session and of the device; first what the owner of the name must know."""
    is_told = let_in.failed >= TOLD_FROM
    response = visit.page("door_told.html", {"failed": let_in.failed, "home": HOME}) if is_told else visit.go(HOME)
    settings = visit.desk.settings
    set_cookie(response, session_cookie(settings), let_in.secret, settings)
    set_cookie(response, marks_cookie(settings), let_in.marks, settings, lasts=LASTS)
    drop_cookie(response, visit_cookie(settings), settings)
    return response


def _sign_in_page(visit: Visit, error: SignInRefused | None = None) -> Response:
    status = 200 if error is None else 429 if error.wait_s is not None else 403
    return visit.page("sign_in.html", {"error": error, "name": visit.said("name")}, status=status)


def _set_up_page(visit: Visit, error: AccountError | None = None) -> Response:
    context = {"error": error, "name": visit.said("name"), "least": LEAST_LETTERS}
    return visit.page("set_up.html", context, status=200 if error is None else 422)


def _password_page(visit: Visit, error: AccountError | None = None) -> Response:
    context = {"error": error, "least": LEAST_LETTERS}
    return visit.page("password.html", context, status=200 if error is None else 422)

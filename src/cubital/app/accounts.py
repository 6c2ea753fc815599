"""Accounts as use cases: first set-up, signing in and out, sessions that end, who may do what, and the trail."""

from __future__ import annotations

import re
import secrets
import unicodedata
from collections.abc import Callable
from datetime import datetime, timedelta

import msgspec

from cubital.app.account_ports import AccountBook, AccountStore, Hasher
from cubital.app.device_marks import device_of, with_mark
from cubital.app.passwords import MOST_LETTERS, need_password
from cubital.app.ports import Now
from cubital.app.throttling import count_try, digest, faults_of_name, forgive
from cubital.errors import AccountError, SignInRefused
from cubital.model.account import ROLES, Account, RoleKey, Session, TrailAsk, TrailLine

IDLE, LONGEST = timedelta(minutes=20), timedelta(hours=12)
"""A session ends after so long without a request, and after so long in all."""
SEEN_EVERY = timedelta(seconds=30)
"""How often the moment of the last request is written; the idle time-out is exact to this."""
_NAME = re.compile(r"[^\W_][\w.@-]{1,59}")


class Visitor(msgspec.Struct, frozen=True, kw_only=True):
    """Someone signed in: the account, its session, and the secret that the browser sent."""

    account: Account
    session: Session


class LetIn(msgspec.Struct, frozen=True, kw_only=True):
    """What a browser that was let in is given: the secret of its session and the marks of its device.

    `failed` is how often signing in under this name failed in the last day, from anywhere: its owner is told.
    """

    secret: str
    marks: str
    failed: int


class Accounts:
    """Everything that is asked of accounts; `now` and `draw_secret` come in, so that a test can choose them."""

    def __init__(
        self, store: AccountStore, *, hasher: Hasher, now: Now, draw_secret: Callable[[], str] = secrets.token_urlsafe
    ) -> None:
        self._store, self._hasher, self._now, self._draw_secret = store, hasher, now, draw_secret
        # Hashed once: a name that nobody has must take as long to refuse as a wrong password.
        self._nobody = hasher.hash(draw_secret())
        self.setup_code = draw_secret()

    def close(self) -> None:
        """Give back the database."""
        self._store.close()

    def is_new(self) -> bool:
        """Whether there is no account yet, so that the first one may be made."""
        with self._store.reading() as book:
            return not book.accounts()

    def offer_set_up(self) -> str:
        """The code of the first set-up; every process of this database takes it, for twelve hours or until it is used.

        Of two processes behind a proxy each prints one, and nobody chooses which of them is asked.
        """
        now = self._now()
        offered = Session(key=_offer(self.setup_code), account="", made_at=now, seen_at=now, ends_at=now + LONGEST)
        with self._store.writing() as book:
            book.keep_session(offered)
        return self.setup_code

    def set_up(self, code: str, name: str, password: str) -> None:
        """Make the first account, an administrator's; raises `AccountError` where there is one, or the code is wrong.

        The code is shown to whoever started the server, and to nobody else.
        """
        if not secrets.compare_digest(code.strip().encode(), self.setup_code.encode()):
            with self._store.reading() as book:
                offered = book.session(_offer(code.strip()))
            if offered is None or self._now() >= offered.ends_at:
                raise AccountError(
                    "found another code; expected the one that the server printed; copy it", where="code"
                )
        made = self._new_account(name, password, role="administrator", must_change=False)
        with self._store.writing() as book:
            if book.accounts():
                raise AccountError("there is an account already; sign in, or ask an administrator", where="set-up")
            book.keep_account(made)
            book.end_sessions(account="")
            self._write(book, made, "set up the first account", about=made.name)

    def sign_in(self, name: str, password: str, *, address: str) -> str:
        """The secret of a new session; raises `SignInRefused`, which never says which of the two was wrong."""
        return self.let_in(name, password, address=address).secret

    def let_in(self, name: str, password: str, *, address: str, marks: str = "") -> LetIn:
        """A new session and the marks of the device; raises as `sign_in` does.

        A device whose `marks` say that this name signed in with it before has a way in of its own: what is tried from
        elsewhere cannot shut it out.
        """
        folded = fold_name(name)
        now = self._now()
        with self._store.writing() as book:
            account = book.account(folded)
            device = device_of(marks, account, now)
            # Counted before the password is looked at: of many sent at once none gets in before it is counted.
            if count_try(book, folded, address, now, device=device) and account is not None:
                self._write(book, None, "the door was shut: too many tries", about=folded)
        # Outside of any transaction: it takes a tenth of a second, and every other station would wait.
        kept = self._nobody if account is None else account.password_hash
        is_right = self._hasher.is_right(kept, password[:MOST_LETTERS]) and account is not None and not account.is_shut
        with self._store.writing() as book:
            if not is_right or account is None:
                self._write(book, None, "was refused at the door", about=folded if account is not None else "")
            else:
                failed = faults_of_name(book, folded, now) - (device is None)
                forgive(book, folded, address, now, device=device)
                book.end_sessions_before(seen=now - IDLE, ends=now)
                secret = self._draw_secret()
                book.keep_session(_session(secret, account, now))
                self._write(book, account, "signed in")
                renewed = with_mark(marks, account, now, fresh_device=self._draw_secret())
                return LetIn(secret=secret, marks=renewed, failed=failed)
        raise SignInRefused("found no such name with this password; check both, and that no key is locked")

    def visitor(self, secret: str, *, is_awake: bool = True) -> Visitor | None:
        """Who this secret stands for; None where the session was never begun, has ended or was revoked.

        Where nobody `is_awake`, as when a page asks by itself, the idle time runs on.
        """
        now, key = self._now(), digest(secret)
        with self._store.reading() as book:
            session = book.session(key)
            account = None if session is None else book.account(session.account)
        if session is None or account is None or account.is_shut:
            return None
        if now >= session.ends_at or now - session.seen_at >= IDLE:
            return None
        if is_awake and now - session.seen_at >= SEEN_EVERY:
            with self._store.writing() as book:
                # It may have been revoked meanwhile: what is gone is not made anew.
                if book.session(key) is None:
                    return None
                book.keep_session(msgspec.structs.replace(session, seen_at=now))
        return Visitor(account=account, session=session)

    def sign_out(self, visitor: Visitor) -> None:
        """End this session."""
        with self._store.writing() as book:
            book.end_sessions(key=visitor.session.key)
            self._write(book, visitor.account, "signed out")

    def change_password(self, visitor: Visitor, old: str, new: str, *, address: str = "") -> None:
        """Take a new password and end every other session of this account.

        Raises `AccountError`; `SignInRefused` where the present one was guessed at too often, as at the door.
        """
        name, now = visitor.account.name, self._now()
        with self._store.writing() as book:
            count_try(book, name, address, now)
        if not self._hasher.is_right(visitor.account.password_hash, old[:MOST_LETTERS]):
            raise AccountError("found another password; expected the one in use now", where="present password")
        with self._store.writing() as book:
            forgive(book, name, address, now)
        if old == new:
            raise AccountError("found the password in use now; expected a new one", where="new password")
        password_hash = self._hash(visitor.account.name, new)
        with self._store.writing() as book:
            # Hashing took a while: what an administrator did meanwhile, shutting the account or its session, stands.
            if book.session(visitor.session.key) is None:
                raise AccountError("found a session that was ended; expected an open one; sign in", where="session")
            found = _need(book, visitor.account.name)
            changed = msgspec.structs.replace(found, password_hash=password_hash, must_change=False)
            book.keep_account(changed)
            book.end_sessions(account=changed.name, but=visitor.session.key)
            self._write(book, changed, "chose a new password", about=changed.name)

    def all(self, visitor: Visitor) -> tuple[tuple[Account, int], ...]:
        """Every account with how many sessions of it are open, by name."""
        now = self._now()
        with self._store.reading() as book:
            live = [s.account for s in book.sessions() if now < s.ends_at and now - s.seen_at < IDLE]
            return tuple((one, live.count(one.name)) for one in book.accounts())

    def add(self, visitor: Visitor, name: str, role: str, password: str) -> Account:
        """A new account whose first password must be changed at the first sign-in."""
        made = self._new_account(name, password, role=role, must_change=True)
        with self._store.writing() as book:
            if book.account(made.name) is not None:
                raise AccountError("found this name in use; expected a new one; choose another", where="name")
            book.keep_account(made)
            self._write(book, visitor.account, f"added a {made.role}", about=made.name)
        return made

    def give_role(self, visitor: Visitor, name: str, role: str) -> None:
        """Give an account another role, and end its sessions; one administrator always stays."""
        wanted = need_role(role)
        with self._store.writing() as book:
            found = _need(book, name)
            changed = msgspec.structs.replace(found, role=wanted)
            _keep_an_administrator(book, changed)
            book.keep_account(changed)
            book.end_sessions(account=changed.name)
            self._write(book, visitor.account, f"made a {wanted} of", about=changed.name)

    def give_password(self, visitor: Visitor, name: str, password: str) -> None:
        """Give an account a first password again, to be changed at once, and end its sessions."""
        with self._store.reading() as book:
            found = _need(book, name)
        changed = msgspec.structs.replace(found, password_hash=self._hash(found.name, password), must_change=True)
        with self._store.writing() as book:
            book.keep_account(msgspec.structs.replace(_need(book, name), password_hash=changed.password_hash,
                                                      must_change=True))  # fmt: skip
            book.end_sessions(account=changed.name)
            self._write(book, visitor.account, "gave a new first password to", about=changed.name)

    def shut(self, visitor: Visitor, name: str, *, is_shut: bool) -> None:
        """Shut an account, ending its sessions, or open it again; one administrator always stays."""
        with self._store.writing() as book:
            changed = msgspec.structs.replace(_need(book, name), is_shut=is_shut)
            _keep_an_administrator(book, changed)
            book.keep_account(changed)
            book.end_sessions(account=changed.name)
            self._write(book, visitor.account, "shut" if is_shut else "opened again", about=changed.name)

    def revoke(self, visitor: Visitor, name: str) -> int:
        """End every session of an account; how many there were."""
        with self._store.writing() as book:
            found = _need(book, name)
            ended = book.end_sessions(account=found.name)
            self._write(book, visitor.account, "ended the sessions of", about=found.name)
        return ended

    def note(self, visitor: Visitor | None, did: str, *, about: str = "") -> None:
        """Write into the trail what someone did or saw; never a patient's name, number or fact."""
        with self._store.writing() as book:
            self._write(book, None if visitor is None else visitor.account, did, about=about)

    def trail(
        self, visitor: Visitor, *, ask: TrailAsk | None = None, most: int = 200, before: int | None = None
    ) -> tuple[TrailLine, ...]:
        """The newest lines of the trail, newest first; `before` goes on from the line of that number."""
        with self._store.reading() as book:
            return book.trail(ask or TrailAsk(), most=most, before=before)

    def _write(self, book: AccountBook, account: Account | None, did: str, *, about: str = "") -> None:
        name, role = ("", "") if account is None else (account.name, account.role)
        book.write_trail(TrailLine(sequence=0, at=self._now(), account=name, role=role, did=did, about=about))

    def _new_account(self, name: str, password: str, *, role: str, must_change: bool) -> Account:
        folded = need_name(name)
        return Account(
            name=folded, role=need_role(role), password_hash=self._hash(folded, password), must_change=must_change
        )

    def _hash(self, name: str, password: str) -> str:
        return self._hasher.hash(need_password(password, name=name))


def fold_name(name: str) -> str:
    """The spelling under which names of accounts are compared.

    >>> fold_name(" Ottoline ")
    'ottoline'
    """
    return unicodedata.normalize("NFKC", name).strip().casefold()[:100]


def need_name(name: str) -> str:
    """The name folded; raises `AccountError` for what is no name of an account."""
    folded = fold_name(name)
    if _NAME.fullmatch(folded) is None:
        raise AccountError(
            "expected 2 to 60 letters, digits, dots, hyphens, _ or @, a letter or digit first; write it so",
            where="name",
        )
    return folded


def need_role(role: str) -> RoleKey:
    """The role of this key; raises `AccountError` for another word."""
    for known in ROLES:
        if role == known:
            return known
    raise AccountError(f"found {role[:30]!r}; expected one of {', '.join(ROLES)}", where="role")


def _offer(code: str) -> str:
    """Under what the code of a first set-up is kept; no secret of a session has this digest."""
    return digest(f"set-up of cubital\n{code}")


def _need(book: AccountBook, name: str) -> Account:
    found = book.account(fold_name(name))
    if found is None:
        raise AccountError("found no account of this name; expected one of the list", where="name")
    return found


def _keep_an_administrator(book: AccountBook, changed: Account) -> None:
    others = [one for one in book.accounts() if one.name != changed.name] + [changed]
    if not any(one.role == "administrator" and not one.is_shut for one in others):
        raise AccountError("this is the last administrator; make another one first", where="role")


def _session(secret: str, account: Account, now: datetime) -> Session:
    return Session(key=digest(secret), account=account.name, made_at=now, seen_at=now, ends_at=now + LONGEST)

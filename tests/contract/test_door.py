"""The door: how long signing in waits after faults, and what happens while a password is hashed."""

from __future__ import annotations

import threading
from collections.abc import Iterator

import pytest

from cubital.app.accounts import Accounts, Visitor
from cubital.errors import AccountError, SignInRefused
from cubital.store.accounts import sql_accounts
from cubital.store.engine import open_engine
from cubital.store.password import MOST_AT_ONCE, Argon2Hasher
from tests.contract.events import Clock
from tests.contract.test_accounts import OTHER_WORDS, WORDS, QuickHasher, let_in


@pytest.fixture
def accounts(address: str, clock: Clock) -> Iterator[Accounts]:
    """New accounts, with an administrator called ada."""
    found = opened(address, clock, QuickHasher())
    yield found
    found.close()


def opened(address: str, clock: Clock, hasher: QuickHasher) -> Accounts:
    found = Accounts(sql_accounts(open_engine(address)), hasher=hasher, now=clock)
    found.set_up(found.setup_code, "Ada", WORDS)
    return found


def slip(accounts: Accounts, name: str = "ada") -> None:
    with pytest.raises(SignInRefused, match="no such name"):
        let_in(accounts, name, OTHER_WORDS)


def test_of_many_tries_at_once_none_gets_in_before_it_is_counted(address: str, clock: Clock) -> None:
    waits: list[int | None] = []

    class Sly(QuickHasher):
        """While one password is looked at, the next is sent."""

        def is_right(self, kept: str, password: str) -> bool:
            if len(waits) < 10:
                with pytest.raises(SignInRefused) as refused:
                    let_in(found, words=OTHER_WORDS)
                waits.append(refused.value.wait_s)
            return super().is_right(kept, password)

    found = opened(address, clock, Sly())
    with pytest.raises(SignInRefused):
        let_in(found, words=OTHER_WORDS)
    assert waits == [15, None, None, None, None]
    found.close()


def test_an_address_that_mistypes_now_and_then_and_gets_in_as_often_never_waits(accounts: Accounts) -> None:
    for _ in range(40):
        slip(accounts)
        let_in(accounts)


def test_getting_in_forgives_an_address_one_fault_and_not_all(accounts: Accounts) -> None:
    for count in range(29):
        slip(accounts, f"name{count}")
    let_in(accounts)
    slip(accounts, "other0")
    slip(accounts, "other1")
    with pytest.raises(SignInRefused, match="wait 15 s"):
        let_in(accounts)


@pytest.mark.parametrize("did", ["shut", "role"])
def test_what_an_administrator_did_while_a_password_was_hashed_stands(address: str, clock: Clock, did: str) -> None:
    new = "quick brown foxes"
    keeper: list[Visitor] = []

    class Slow(QuickHasher):
        """While the new password is hashed, the administrator acts."""

        def hash(self, password: str) -> str:
            if password == new and did == "shut":
                found.shut(keeper[0], "zoe", is_shut=True)
            elif password == new:
                found.give_role(keeper[0], "zoe", "student")
            return super().hash(password)

    found = opened(address, clock, Slow())
    ada = found.visitor(let_in(found))
    assert ada is not None
    keeper.append(ada)
    found.add(ada, "zoe", "supervisor", OTHER_WORDS)
    zoe = found.visitor(let_in(found, "zoe", OTHER_WORDS))
    assert zoe is not None
    with pytest.raises(AccountError, match="session that was ended"):
        found.change_password(zoe, OTHER_WORDS, new)
    (kept,) = (one for one, _ in found.all(ada) if one.name == "zoe")
    assert (kept.is_shut, kept.role) == ((True, "supervisor") if did == "shut" else (False, "student"))
    found.close()


def test_a_flood_of_passwords_is_reckoned_a_few_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    hasher = Argon2Hasher()
    full, go = threading.Event(), threading.Event()
    lock = threading.Lock()
    inside, most = 0, 0

    def reckon(_: object, password: str) -> str:
        nonlocal inside, most
        with lock:
            inside += 1
            most = max(most, inside)
            if inside >= MOST_AT_ONCE:
                full.set()
        assert go.wait(30)
        with lock:
            inside -= 1
        return password

    monkeypatch.setattr("argon2.PasswordHasher.hash", reckon)
    threads = [threading.Thread(target=hasher.hash, args=("x",)) for _ in range(3 * MOST_AT_ONCE)]
    for one in threads:
        one.start()
    assert full.wait(30)
    go.set()
    for one in threads:
        one.join(30)
    assert most == MOST_AT_ONCE

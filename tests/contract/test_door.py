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


def crowd(accounts: Accounts, clock: Clock, *, addresses: int = 36) -> None:
    """So many addresses guess at ada's password, each until it must wait."""
    for number in range(addresses):
        with pytest.raises(SignInRefused):
            accounts.sign_in("ada", OTHER_WORDS, address=f"192.0.2.{number}")
    clock.pass_s(1)


def test_many_addresses_shut_a_name_but_not_for_a_device_that_signed_in_before(
    accounts: Accounts, clock: Clock
) -> None:
    marks = accounts.let_in("ada", WORDS, address="198.51.100.1").marks
    crowd(accounts, clock)
    with pytest.raises(SignInRefused, match="failed too often"):
        accounts.sign_in("ada", WORDS, address="198.51.100.1")
    found = accounts.let_in("ada", WORDS, address="198.51.100.1", marks=marks)
    assert found.failed >= 30
    ada = accounts.visitor(found.secret)
    assert ada is not None
    shut = [line.about for line in accounts.trail(ada) if line.did == "the door was shut: too many tries"]
    assert shut == ["ada"]


def test_a_marked_device_may_guess_no_oftener_than_any_other(accounts: Accounts, clock: Clock) -> None:
    marks = accounts.let_in("ada", WORDS, address="x").marks
    for _ in range(5):
        with pytest.raises(SignInRefused, match="no such name"):
            accounts.let_in("ada", OTHER_WORDS, address="x", marks=marks)
    with pytest.raises(SignInRefused, match="wait 15 s"):
        accounts.let_in("ada", WORDS, address="x", marks=marks)
    clock.pass_s(16)
    assert accounts.let_in("ada", WORDS, address="x", marks=marks).failed == 0


def test_a_mark_is_of_one_name_one_password_and_ninety_days(accounts: Accounts, clock: Clock) -> None:
    ada = accounts.visitor(let_in(accounts))
    assert ada is not None
    accounts.add(ada, "zoe", "student", OTHER_WORDS)
    marks = accounts.let_in("zoe", OTHER_WORDS, address="x").marks
    crowd(accounts, clock)
    device, seal = marks.split(".")
    forged = f"{device}.{seal[:-1]}{'0' if seal[-1] != '0' else '1'}"
    for bad in (marks, forged, "", ".", f"{device}.", "x" * 5_000, f"{device}.99999999999-{'0' * 64}", "\0.\ud800"):
        with pytest.raises(SignInRefused, match="failed too often"):
            accounts.let_in("ada", WORDS, address="192.0.2.1", marks=bad)


def test_a_mark_ends_with_its_time_and_with_the_password(accounts: Accounts, clock: Clock) -> None:
    marks = accounts.let_in("ada", WORDS, address="x").marks
    clock.pass_s(91 * 24 * 3600)
    crowd(accounts, clock)
    with pytest.raises(SignInRefused, match="failed too often"):
        accounts.let_in("ada", WORDS, address="x", marks=marks)
    clock.pass_s(2 * 24 * 3600)
    fresh = accounts.let_in("ada", WORDS, address="x", marks=marks)
    ada = accounts.visitor(fresh.secret)
    assert ada is not None
    accounts.change_password(ada, WORDS, "quick brown foxes")
    crowd(accounts, clock)
    with pytest.raises(SignInRefused, match="failed too often"):
        accounts.let_in("ada", "quick brown foxes", address="x", marks=fresh.marks)


def test_one_device_keeps_the_marks_of_eight_people(accounts: Accounts, clock: Clock) -> None:
    ada = accounts.visitor(let_in(accounts))
    assert ada is not None
    marks = accounts.let_in("ada", WORDS, address="x").marks
    for number in range(7):
        accounts.add(ada, f"name{number}", "student", OTHER_WORDS)
        marks = accounts.let_in(f"name{number}", OTHER_WORDS, address="x", marks=marks).marks
    assert marks.count(".") == 8
    marks = accounts.let_in("name6", OTHER_WORDS, address="x", marks=marks).marks
    crowd(accounts, clock)
    assert accounts.let_in("ada", WORDS, address="x", marks=marks).secret
    accounts.add(ada, "ninth", "student", OTHER_WORDS)
    assert accounts.let_in("ninth", OTHER_WORDS, address="x", marks=marks).marks.count(".") == 8

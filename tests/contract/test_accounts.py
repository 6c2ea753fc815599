"""Accounts, sessions and the trail, alike in SQLite and PostgreSQL."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

import pytest
from sqlalchemy.exc import DBAPIError

from cubital.app.accounts import IDLE, LONGEST, Accounts
from cubital.app.throttling import digest
from cubital.errors import AccountError, SignInRefused
from cubital.store.accounts import sql_accounts
from cubital.store.engine import open_engine
from tests.contract import hands
from tests.contract.events import Clock

WORDS, OTHER_WORDS = "seven quiet otters", "eleven slow herons"


class QuickHasher:
    """A hasher that takes no time, for tests of everything but the hash."""

    def hash(self, password: str) -> str:
        """The password, turned round."""
        return password[::-1]

    def is_right(self, kept: str, password: str) -> bool:
        """Whether it is the one turned round."""
        return kept == password[::-1]


@pytest.fixture
def accounts(address: str, clock: Clock) -> Iterator[Accounts]:
    """New accounts, with an administrator called ada."""
    found = Accounts(sql_accounts(open_engine(address)), hasher=QuickHasher(), now=clock)
    assert found.is_new()
    found.set_up(found.setup_code, "Ada", WORDS)
    yield found
    found.close()


def let_in(accounts: Accounts, name: str = "ada", words: str = WORDS) -> str:
    return accounts.sign_in(name, words, address="127.0.0.1")


def test_the_first_account_is_an_administrator_and_is_made_once(accounts: Accounts) -> None:
    visitor = accounts.visitor(let_in(accounts))
    assert visitor is not None
    assert (visitor.account.name, visitor.account.role) == ("ada", "administrator")
    assert not accounts.is_new()
    with pytest.raises(AccountError, match="an account already"):
        accounts.set_up(accounts.setup_code, "zoe", WORDS)


def test_the_first_account_needs_the_code_of_whoever_started_the_server(address: str, clock: Clock) -> None:
    found = Accounts(sql_accounts(open_engine(address)), hasher=QuickHasher(), now=clock)
    with pytest.raises(AccountError, match="another code"):
        found.set_up("", "zoe", WORDS)
    assert found.is_new()
    found.close()


def test_a_wrong_name_and_a_wrong_password_are_refused_in_the_same_words(accounts: Accounts) -> None:
    said = set()
    for name, words in (("ada", OTHER_WORDS), ("nobody", WORDS), ("", ""), ("ada", "")):
        with pytest.raises(SignInRefused) as refused:
            let_in(accounts, name, words)
        said.add(str(refused.value))
    assert len(said) == 1


@pytest.mark.parametrize(
    ("after", "is_open"), [(IDLE - timedelta(seconds=1), True), (IDLE, False), (LONGEST, False)], ids=str
)
def test_a_session_ends_after_idling(accounts: Accounts, clock: Clock, after: timedelta, is_open: bool) -> None:
    secret = let_in(accounts)
    clock.pass_s((after).total_seconds())
    assert (accounts.visitor(secret) is not None) == is_open


def test_a_session_in_use_ends_all_the_same_after_its_longest_time(accounts: Accounts, clock: Clock) -> None:
    secret = let_in(accounts)
    step = IDLE - timedelta(minutes=1)
    for _ in range(LONGEST // step):
        clock.pass_s((step).total_seconds())
        assert accounts.visitor(secret) is not None
    clock.pass_s((LONGEST - LONGEST // step * step).total_seconds())
    assert accounts.visitor(secret) is None


def test_a_session_that_was_signed_out_or_revoked_is_closed(accounts: Accounts) -> None:
    first, second, third = (let_in(accounts) for _ in range(3))
    visitor = accounts.visitor(first)
    assert visitor is not None
    accounts.sign_out(visitor)
    assert accounts.visitor(first) is None
    other = accounts.visitor(second)
    assert other is not None
    assert accounts.all(other) == ((other.account, 2),)
    assert accounts.revoke(other, "ada") == 2
    assert accounts.visitor(second) is None
    assert accounts.visitor(third) is None


def test_the_secret_of_a_session_is_not_in_the_database(accounts: Accounts) -> None:
    secret = let_in(accounts)
    visitor = accounts.visitor(secret)
    assert visitor is not None
    assert visitor.session.key == digest(secret) != secret
    assert accounts.visitor(visitor.session.key) is None


def test_signing_in_waits_longer_after_each_further_fault_and_then_lets_the_right_one_in(
    accounts: Accounts, clock: Clock
) -> None:
    for _ in range(5):
        with pytest.raises(SignInRefused) as refused:
            let_in(accounts, "ada", OTHER_WORDS)
        assert refused.value.wait_s is None
    with pytest.raises(SignInRefused) as refused:
        let_in(accounts)
    assert refused.value.wait_s == 15
    clock.pass_s(15)
    with pytest.raises(SignInRefused, match="no such name"):
        let_in(accounts, "ada", OTHER_WORDS)
    with pytest.raises(SignInRefused) as refused:
        let_in(accounts)
    assert refused.value.wait_s == 30
    assert accounts.sign_in("ada", WORDS, address="127.0.0.2")
    clock.pass_s(30)
    assert let_in(accounts)


def test_one_address_that_tries_many_names_waits(accounts: Accounts) -> None:
    for number in range(30):
        with pytest.raises(SignInRefused, match="no such name"):
            let_in(accounts, f"name{number}", WORDS)
    with pytest.raises(SignInRefused, match="too often"):
        let_in(accounts, "ada", WORDS)


def test_a_new_account_must_choose_its_own_password_which_ends_its_other_sessions(accounts: Accounts) -> None:
    ada = accounts.visitor(let_in(accounts))
    assert ada is not None
    accounts.add(ada, "Ben", "collector", OTHER_WORDS)
    first, second = (accounts.visitor(let_in(accounts, "ben", OTHER_WORDS)) for _ in range(2))
    assert first is not None
    assert second is not None
    assert first.account.must_change
    with pytest.raises(AccountError, match="expected the one in use now"):
        accounts.change_password(first, WORDS, "nine tall willows")
    with pytest.raises(AccountError, match="expected a new one"):
        accounts.change_password(first, OTHER_WORDS, OTHER_WORDS)
    accounts.change_password(first, OTHER_WORDS, "nine tall willows")
    assert [count for one, count in accounts.all(ada) if one.name == "ben"] == [1]
    again = accounts.visitor(let_in(accounts, "ben", "nine tall willows"))
    assert again is not None
    assert not again.account.must_change


def test_guesses_at_the_present_password_in_an_open_session_wait_as_at_the_door(
    accounts: Accounts, clock: Clock
) -> None:
    ada = accounts.visitor(let_in(accounts))
    assert ada is not None
    for _ in range(5):
        with pytest.raises(AccountError, match="expected the one in use now"):
            accounts.change_password(ada, OTHER_WORDS, "nine tall willows")
    with pytest.raises(SignInRefused) as refused:
        accounts.change_password(ada, WORDS, "nine tall willows")
    assert refused.value.wait_s == 15
    clock.pass_s(15)
    accounts.change_password(ada, WORDS, "nine tall willows")


def test_a_shut_account_lets_nobody_in_until_it_is_opened(accounts: Accounts) -> None:
    ada = accounts.visitor(let_in(accounts))
    assert ada is not None
    accounts.add(ada, "ben", "collector", OTHER_WORDS)
    secret = let_in(accounts, "ben", OTHER_WORDS)
    accounts.shut(ada, "ben", is_shut=True)
    assert accounts.visitor(secret) is None
    with pytest.raises(SignInRefused, match="no such name"):
        let_in(accounts, "ben", OTHER_WORDS)
    accounts.shut(ada, "ben", is_shut=False)
    assert let_in(accounts, "ben", OTHER_WORDS)


def test_a_new_role_or_first_password_ends_the_sessions_under_the_old(accounts: Accounts) -> None:
    ada = accounts.visitor(let_in(accounts))
    assert ada is not None
    accounts.add(ada, "ben", "collector", OTHER_WORDS)
    secret = let_in(accounts, "ben", OTHER_WORDS)
    accounts.give_role(ada, "ben", "teacher")
    assert accounts.visitor(secret) is None
    secret = let_in(accounts, "ben", OTHER_WORDS)
    accounts.give_password(ada, "ben", "nine tall willows")
    assert accounts.visitor(secret) is None
    visitor = accounts.visitor(let_in(accounts, "ben", "nine tall willows"))
    assert visitor is not None
    assert (visitor.account.role, visitor.account.must_change) == ("teacher", True)


def test_the_last_administrator_stays(accounts: Accounts) -> None:
    ada = accounts.visitor(let_in(accounts))
    assert ada is not None
    with pytest.raises(AccountError, match="last administrator"):
        accounts.give_role(ada, "ada", "teacher")
    with pytest.raises(AccountError, match="last administrator"):
        accounts.shut(ada, "ada", is_shut=True)
    accounts.add(ada, "ben", "administrator", OTHER_WORDS)
    accounts.give_role(ada, "ada", "teacher")


@pytest.mark.parametrize(
    ("name", "role", "words", "said"),
    [
        ("ben", "collector", "eleven lett", "found 11 letters"),
        ("ben", "collector", "x" * 201, "found 201 letters"),
        ("ben", "collector", "aaaabbbbaaaabbbb", "easy to guess"),
        ("ben", "collector", "ben is my name", "easy to guess"),
        ("b", "collector", OTHER_WORDS, "2 to 60 letters"),
        ("-ben", "collector", OTHER_WORDS, "2 to 60 letters"),
        ("ben\n", "chief", OTHER_WORDS, "expected one of collector"),
        ("ADA", "collector", OTHER_WORDS, "in use"),
    ],
)
def test_an_account_that_cannot_be_is_refused(accounts: Accounts, name: str, role: str, words: str, said: str) -> None:
    ada = accounts.visitor(let_in(accounts))
    assert ada is not None
    with pytest.raises(AccountError, match=said) as refused:
        accounts.add(ada, name, role, words)
    assert words not in str(refused.value)
    assert [one.name for one, _ in accounts.all(ada)] == ["ada"]


def test_the_trail_says_who_did_what_and_cannot_be_changed(accounts: Accounts, address: str) -> None:
    ada = accounts.visitor(let_in(accounts))
    assert ada is not None
    accounts.add(ada, "ben", "student", OTHER_WORDS)
    accounts.note(ada, "saw", about="draw")
    lines = accounts.trail(ada)
    assert [(line.account, line.role, line.did, line.about) for line in lines] == [
        ("ada", "administrator", "saw", "draw"),
        ("ada", "administrator", "added a student", "ben"),
        ("ada", "administrator", "signed in", ""),
        ("ada", "administrator", "set up the first account", "ada"),
    ]
    assert [line.sequence for line in accounts.trail(ada, most=1, before=3)] == [2]
    for statement in ("UPDATE trail SET did = 'nothing'", "DELETE FROM trail"):
        with pytest.raises(DBAPIError, match="only added to"):
            hands.run(address, statement, is_guarded=True)


def test_a_name_that_nobody_has_is_not_written_down(accounts: Accounts) -> None:
    with pytest.raises(SignInRefused):
        let_in(accounts, OTHER_WORDS, "")
    ada = accounts.visitor(let_in(accounts))
    assert ada is not None
    assert not any(OTHER_WORDS in f"{line.account}{line.about}{line.did}" for line in accounts.trail(ada))

"""Who works with the pages: an account, its role, a session of it, and one line of the trail of what was done."""

from __future__ import annotations

from datetime import datetime
from typing import Literal, get_args

import msgspec

RoleKey = Literal["collector", "processor", "supervisor", "teacher", "student", "administrator"]
ROLES: tuple[RoleKey, ...] = get_args(RoleKey)


class Account(msgspec.Struct, frozen=True, kw_only=True):
    """One person who may sign in; the name is kept folded, the password as its hash only.

    `must_change` is true until the person has chosen a password of their own; `is_shut` keeps the
    account for the trail and lets nobody in.
    """

    name: str
    role: RoleKey
    password_hash: str
    must_change: bool = False
    is_shut: bool = False


class Session(msgspec.Struct, frozen=True, kw_only=True):
    """One signed-in browser: `key` is the digest of its secret, which is kept nowhere."""

    key: str
    account: str
    made_at: datetime
    seen_at: datetime
    ends_at: datetime


class Throttle(msgspec.Struct, frozen=True, kw_only=True):
    """How often in a row signing in failed for one name, one address or one pair of them, and when last."""

    key: str
    faults: int
    last_at: datetime


class TrailLine(msgspec.Struct, frozen=True, kw_only=True):
    """One thing that someone did or saw: never a patient's name, number or fact.

    `account` is empty where nobody was signed in; `about` names an account, a page or nothing.
    """

    sequence: int
    at: datetime
    account: str
    role: str
    did: str
    about: str = ""


class TrailAsk(msgspec.Struct, frozen=True, kw_only=True):
    """Which lines of the trail are wanted: of whom, about what (or what begins so), from when and before when."""

    who: str = ""
    about: str = ""
    since: datetime | None = None
    until: datetime | None = None

"""The mark of a device that signed in before: it opens nothing, and keeps a way to the door when others crowd it.

A mark is sealed with the hash of the password, which nobody outside the database knows and which holds chance
enough that no mark tells anything of the password (RFC 2104: HMAC). A new password ends every mark of the account.
"""

from __future__ import annotations

import hashlib
import hmac
import re
from datetime import datetime, timedelta

from cubital.model.account import Account

LASTS = timedelta(days=90)
MOST_MARKS = 8
"""So many people of one device keep their mark; whoever signed in longest ago loses theirs."""
_DEVICE, _MARK = re.compile(r"[\w-]{16,64}", re.ASCII), re.compile(r"([0-9]{1,12})-([0-9a-f]{64})", re.ASCII)


def device_of(marks: str, account: Account | None, now: datetime) -> str | None:
    """The device of these marks where one of them is this account's and still lasts; None otherwise."""
    device, *sealed = marks[:2_000].split(".")
    if account is None or _DEVICE.fullmatch(device) is None:
        return None
    for one in sealed[:MOST_MARKS]:
        found = _MARK.fullmatch(one)
        if found is None or int(found[1]) <= now.timestamp():
            continue
        if hmac.compare_digest(found[2], _seal(account, device, found[1])):
            return device
    return None


def with_mark(marks: str, account: Account, now: datetime, *, fresh_device: str) -> str:
    """These marks with a new one of this account before the others; of a `fresh_device` where none is known."""
    device, *sealed = marks[:2_000].split(".")
    if _DEVICE.fullmatch(device) is None:
        device, sealed = fresh_device, []
    until = str(int((now + LASTS).timestamp()))
    others = []
    for one in sealed[:MOST_MARKS]:
        found = _MARK.fullmatch(one)
        if found is not None and not hmac.compare_digest(found[2], _seal(account, device, found[1])):
            others.append(one)
    return ".".join([device, f"{until}-{_seal(account, device, until)}", *others[: MOST_MARKS - 1]])


def _seal(account: Account, device: str, until: str) -> str:
    said = f"device of cubital\n{account.name}\n{device}\n{until}"
    return hmac.new(account.password_hash.encode(), said.encode(), hashlib.sha256).hexdigest()

"""How long signing in waits after faults, counted by the name, by the address and by both together."""

from __future__ import annotations

import hashlib
import ipaddress
from datetime import datetime, timedelta

from cubital.app.account_ports import AccountBook
from cubital.errors import SignInRefused
from cubital.model.account import Throttle

# Faults in a row that are let pass before signing in waits, by what is counted; then the wait doubles.
_FREE = {"pair": 5, "address": 30, "name": 30, "device": 5}
_FIRST_WAIT, _LONGEST_WAIT = timedelta(seconds=15), timedelta(minutes=15)
# So long without a fault and the count begins anew.
_FORGET = timedelta(hours=24)


def digest(secret: str) -> str:
    """The digest under which a secret, such as that of a session, is kept."""
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()


def count_try(
    book: AccountBook, name: str, address: str, now: datetime, *, device: str | None = None
) -> bool:
    """Count this try as a fault until `forgive` says otherwise; raises `SignInRefused` where it must wait.

    A `device` that this name signed in with before is counted alone: what others do cannot shut its door. Whether this
    is the try after which the name's door is shut to everyone else.
    """
    keys = _keys(name, address, device)
    wait = max(_wait_left(book.throttle(key), free, now) for key, free in keys.values())
    if wait > timedelta():
        seconds = max(1, round(wait.total_seconds()))
        raise SignInRefused(f"signing in failed too often; wait {seconds} s and try again", wait_s=seconds)
    for key, _ in keys.values():
        faults = _faults(book.throttle(key), now)
        book.keep_throttle(Throttle(key=key, faults=faults + 1, last_at=now))
    return "name" in keys and _faults(book.throttle(keys["name"][0]), now) == _FREE["name"]


def faults_of_name(book: AccountBook, name: str, now: datetime) -> int:
    """How often signing in under this name failed of late, by whomever."""
    return _faults(book.throttle(_keys(name, "", None)["name"][0]), now)


def forgive(book: AccountBook, name: str, address: str, now: datetime, *, device: str | None = None) -> None:
    """Take back the try that let someone in, and one fault before it of the name and of the address.

    The pair begins anew. A ward that shares one address mistypes every day and gets in far more often: without
    this its faults would add up for ever, and then one slip would shut the door to all of it.
    """
    keys = _keys(name, address, device)
    book.forget_throttles(key=keys.pop("pair" if device is None else "device")[0])
    for key, _ in keys.values():
        kept = book.throttle(key)
        if kept is not None:
            book.keep_throttle(Throttle(key=key, faults=max(0, kept.faults - 2), last_at=kept.last_at))
    book.forget_throttles(before=now - _FORGET)


def _keys(name: str, address: str, device: str | None) -> dict[str, tuple[str, int]]:
    """What is counted, and how often it is let pass: only digests are kept, for a mistyped name may be a password."""
    address = network_of(address)
    parts = {"pair": f"{name}\n{address}", "address": address, "name": name}
    if device is not None:
        parts = {"device": f"{name}\n{device}"}
    return {what: (digest(f"{what}\n{text}"), _FREE[what]) for what, text in parts.items()}


def network_of(address: str) -> str:
    """What is counted as one address: of IPv6 the network, for one machine has all addresses of it (RFC 4291, 2.5.4).

    >>> network_of("192.0.2.7"), network_of("2001:db8:1:2:3:4:5:6"), network_of("::ffff:192.0.2.7")
    ('192.0.2.7', '2001:db8:1:2::/64', '192.0.2.7')
    """
    try:
        found = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address
    if isinstance(found, ipaddress.IPv4Address):
        return str(found)
    inner = found.ipv4_mapped
    return str(ipaddress.ip_network((found, 64), strict=False)) if inner is None else str(inner)


def _faults(throttle: Throttle | None, now: datetime) -> int:
    return 0 if throttle is None or now - throttle.last_at >= _FORGET else throttle.faults


def _wait_left(throttle: Throttle | None, free: int, now: datetime) -> timedelta:
    faults = _faults(throttle, now)
    if throttle is None or faults < free:
        return timedelta()
    wait = min(_LONGEST_WAIT, _FIRST_WAIT * (1 << min(faults - free, 10)))
    return max(timedelta(), throttle.last_at + wait - now)

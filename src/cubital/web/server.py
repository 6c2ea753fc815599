"""Starting the server: the desk, the application, and a quiet log that holds nothing of what was typed."""

from __future__ import annotations

import contextlib
import ipaddress
import signal
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from cubital.app.clock import today
from cubital.app.wiring import open_accounts, open_record, open_site_versions, open_takings
from cubital.errors import ExchangeError

# What was begun when the server is told to stop has so long to be answered.
STOP_S = 10
PROXIES = ("127.0.0.1", "::1")
"""A proxy on this machine, and nobody else, says for whom it asks (X-Forwarded-For)."""
# A connection is kept longer than a station pauses between two orders, and longer than a proxy keeps its own (nginx:
# keepalive_timeout 60 s upstream): one that is shut as the next order is sent breaks it.
KEEP_ALIVE_S = 75


def serve(
    folder: Path | None, *, address: str, host: str, port: int, names: tuple[str, ...], is_behind_tls: bool,
    is_demo: bool = False,
) -> None:  # fmt: skip
    """Serve the pages of the site in this folder until interrupted: of its newest version, where one was saved.

    `address` is the database of the record, `names` what else than the loopback names the server answers to.
    Raises `ExchangeError` for another host than the loopback without TLS before it: passwords would go in clear.
    """
    if not is_loopback(host) and not is_behind_tls:
        raise ExchangeError(
            f"found {host[:80]} without TLS; expected the loopback address, 127.0.0.1; put a proxy with TLS before it "
            "and say --behind-tls",
            where="--host",
        )
    import uvicorn

    from cubital.web.application import make_application
    from cubital.web.desk import Desk, Settings

    accounts, record = open_accounts(address), open_record(address)
    sites = open_site_versions(address, folder, demo=is_demo)
    takings = open_takings(address, record=record)
    with contextlib.ExitStack() as opened:
        for one in (accounts, record, sites, takings):
            opened.callback(one.close)
        site = sites.newest().site
        is_new = accounts.is_new()
        known = dict.fromkeys((*Settings().names, *(name.lower() for name in names)))
        settings = Settings(names=tuple(known), is_behind_tls=is_behind_tls, is_demo=is_demo)
        desk = Desk(site, accounts, record=record, today=today, settings=settings, sites=sites, takings=takings)
        scheme = "https" if is_behind_tls else "http"
        shown = names[0] if names else host if ":" not in host else f"[{host}]"
        print(f"cubital: {site.name}: {scheme}://{shown}{'' if names else f':{port}'}/", file=sys.stderr)
        if is_new:
            print(f"cubital: first set-up, no account yet; its code: {accounts.offer_set_up()}", file=sys.stderr)
        opened.enter_context(_ended_by_signal())
        uvicorn.run(make_application(desk), host=host, port=port, **options(is_behind_tls=is_behind_tls))


def options(*, is_behind_tls: bool) -> dict[str, Any]:
    """What uvicorn is told beside the application and its address."""
    from cubital.web.connection import GuardedConnection

    return {
        "http": GuardedConnection, "ws": "none", "access_log": False, "log_level": "warning", "server_header": False,
        "timeout_graceful_shutdown": STOP_S, "timeout_keep_alive": KEEP_ALIVE_S, "log_config": _logging(),
        # Whom to believe is said here and not in the environment: a browser's own X-Forwarded-For would be believed.
        "proxy_headers": is_behind_tls, "forwarded_allow_ips": [*PROXIES],
    }  # fmt: skip


@contextlib.contextmanager
def _ended_by_signal() -> Iterator[None]:
    """Let SIGTERM, which uvicorn raises again once it has answered what it had begun, close the databases too."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def end(*_: object) -> None:
        raise SystemExit(0)

    before = signal.signal(signal.SIGTERM, end)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def is_loopback(host: str) -> bool:
    """Whether only this machine reaches a server there.

    >>> is_loopback("127.0.0.1"), is_loopback("localhost"), is_loopback("0.0.0.0"), is_loopback("::1")
    (True, True, False, True)
    """
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _logging() -> dict[str, Any]:
    """One plain line an event on the standard error."""
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {"line": {"format": "%(asctime)s %(levelname)s %(name)s: %(message)s"}},
        "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "line"}},
        "root": {"handlers": ["stderr"], "level": "WARNING"},
    }

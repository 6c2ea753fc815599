"""Two hundred stations on one and on two server processes of one PostgreSQL, every station at one of the processes.

Its files are synced, as a hospital's are. Each station asks as in bench/web.py, about once a second, and rests between
two orders; the programs that ask run on the same machine and take their share of its cores.
"""

from __future__ import annotations

import contextlib
import socket
import subprocess
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.contract.cluster import Cluster

from bench.report import Line, show
from bench.web import COMMAND, START_S, WORDS, await_port, stations, write_site
from cubital.app.wiring import open_accounts, open_site, upgrade_store

STATIONS, SESSIONS = 200, 20


def run(*, is_quick: bool) -> bool:
    """Measure and print; whether no station met an error."""
    lines: list[Line] = []
    cluster = Cluster(is_synced=True)
    try:
        with TemporaryDirectory() as folder:
            site = Path(folder) / "site"
            write_site(site)
            names = [test.name for test in open_site(str(site)).tests.values()]
            for processes in (1, 2):
                cluster.ask(f"CREATE DATABASE served_{processes}")
                address = cluster.address(f"served_{processes}")
                secrets = _sessions(address)
                with _servers(site, address, processes) as ports:
                    found = stations(ports, secrets, names, seconds=10.0 if is_quick else 60.0, many=STATIONS)
                at = f"{processes} process{'es' * (processes > 1)}"
                lines += [line._replace(what=f"{at}: {line.what}") for line in found]
    finally:
        cluster.remove()
    return show("Pages: two hundred stations on one PostgreSQL, whole requests", lines)


def _sessions(address: str) -> list[str]:
    """A new record with one account; the secrets of some sessions of it."""
    upgrade_store(address)
    accounts = open_accounts(address)
    accounts.set_up(accounts.setup_code, "station", WORDS)
    secrets = [accounts.sign_in("station", WORDS, address="") for _ in range(SESSIONS)]
    accounts.close()
    return secrets


@contextlib.contextmanager
def _servers(site: Path, address: str, processes: int) -> Iterator[list[int]]:
    """The ports of so many server processes of this record."""
    with contextlib.ExitStack() as stack:
        ports = []
        for _ in range(processes):
            with socket.socket() as free:
                free.bind(("127.0.0.1", 0))
                port = free.getsockname()[1]
            words = [str(COMMAND), "serve", "--site", str(site), "--db", address, "--port", str(port)]
            server = stack.enter_context(subprocess.Popen(words, stderr=subprocess.DEVNULL))
            stack.callback(server.wait, START_S)
            stack.callback(server.terminate)
            ports.append(port)
        for port in ports:
            await_port(port)
        yield ports

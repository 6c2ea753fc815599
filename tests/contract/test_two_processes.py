"""Two server processes on one PostgreSQL, asked by turns: what one of them was told, the other knows."""

from __future__ import annotations

import json
import re
import secrets
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import httpx2
import pytest

WORDS, OTHER_WORDS = "seven quiet otters", "eleven loud geese"
START_S = 90.0
_TOKEN = re.compile(r'name="token" value="([0-9a-f]{64})"')


class Pair:
    """Two processes of `cubital serve` of the demo site, as a proxy would have them behind it."""

    def __init__(self, address: str, folder: Path) -> None:
        self.ports = [_free_port() for _ in range(2)]
        self.logs = [folder / f"log{number}" for number in range(2)]
        self.clients: list[httpx2.Client] = []
        self._processes = []
        for port, log in zip(self.ports, self.logs, strict=True):
            words = ["-m", "cubital.cli.main", "serve", "--demo", "--db", address, "--port", str(port)]
            with log.open("w") as said:
                self._processes.append(subprocess.Popen([sys.executable, *words], stderr=said))
        for port in self.ports:
            _await(port)

    def codes(self) -> list[str]:
        """The code of the first set-up that each of them printed."""
        return [re.findall(r"its code: (\S+)", log.read_text())[0] for log in self.logs]

    def end(self) -> None:
        """Stop both, and hold them to a log without a fault."""
        for client in self.clients:
            client.close()
        for one in self._processes:
            one.send_signal(signal.SIGTERM)
        for one in self._processes:
            one.wait(START_S)
        assert all(" ERROR " not in log.read_text() for log in self.logs)


class Visitor:
    """A browser whose every request goes to the other process than the one before."""

    def __init__(self, pair: Pair) -> None:
        self._ports = pair.ports
        self._turn = 0
        # Cookies know no ports: both processes see the same ones, as behind a proxy.
        self.client = httpx2.Client(timeout=60, follow_redirects=False)
        pair.clients.append(self.client)
        self.token = ""

    def ask(self, path: str, form: dict[str, str] | None = None) -> httpx2.Response:
        """What the next of the two answers; a redirect is followed to the other one."""
        base = f"http://127.0.0.1:{self._ports[self._turn % 2]}"
        self._turn += 1
        if form is None:
            answer = self.client.get(base + path)
        else:
            answer = self.client.post(base + path, data={"token": self.token, **form}, headers={"Origin": base})
        found = _TOKEN.search(answer.text)
        self.token = found[1] if found else self.token
        return self.ask(answer.headers["location"]) if answer.is_redirect else answer

    def sign_in(self, name: str, words: str = WORDS) -> httpx2.Response:
        """Sign in: the form from one, the answer of the other."""
        self.ask("/sign-in")
        return self.ask("/sign-in", {"name": name, "password": words})


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def _await(port: int) -> None:
    ends = time.monotonic() + START_S
    while True:
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/sign-in", timeout=30):
                return
        except OSError:
            assert time.monotonic() < ends, "the server did not start"
            time.sleep(0.1)


@pytest.fixture
def pair(postgresql_address: str, tmp_path: Path) -> Iterator[Pair]:
    """Two processes on a new record."""
    found = Pair(postgresql_address, tmp_path)
    yield found
    found.end()


def test_two_processes_are_as_one_to_those_who_use_them(pair: Pair) -> None:
    chief = Visitor(pair)
    chief.ask("/set-up")
    # The code that the first printed is told to the second, and the other way round is refused once it is used.
    made = chief.ask("/set-up", {"code": pair.codes()[0], "name": "chief", "password": WORDS, "again": WORDS})
    assert "Draw" in made.text
    again = Visitor(pair)
    again.ask("/sign-in")
    again.ask("/set-up", {"code": pair.codes()[1], "name": "second", "password": WORDS, "again": WORDS})
    chief.ask("/accounts")
    assert "second" not in chief.ask("/accounts").text

    for name, role in (("cory", "collector"), ("perry", "processor")):
        chief.ask("/accounts")
        chief.ask("/accounts", {"do": "add", "name": name, "role": role, "password": OTHER_WORDS})
    collector = Visitor(pair)
    collector.sign_in("cory", OTHER_WORDS)
    collector.ask("/password")
    collector.ask("/password", {"present": OTHER_WORDS, "new": WORDS, "again": WORDS})
    assert collector.ask("/draw").status_code == collector.ask("/draw").status_code == 200

    # A draw is begun at one process, seen and tapped at the other; the same tap at both is taken once.
    begun = collector.ask("/take", {"tests": "K\nCBC", "access": "straight-needle", "key": secrets.token_urlsafe(16)})
    assert begun.status_code == 200
    codes = [json.loads(collector.ask("/take/draws").text)["draws"][-1]["code"] for _ in range(2)]
    assert codes[0] == codes[1]
    now = str(int(time.time() * 1000))
    tap = {
        "key": f"take-AAAA/{codes[0]}/set-aside/0", "draw": codes[0], "kind": "set-aside", "step": "0", "at": now,
        "now": now, "by": "cory", "station": "take-AAAA",
    }  # fmt: skip
    answers = [json.loads(collector.ask("/take/tap", tap).text) for _ in range(4)]
    assert len({one["ok"] for one in answers}) == 1

    # A session that is ended at one is over at the other.
    chief.ask("/accounts")
    chief.ask("/accounts", {"do": "revoke", "name": "cory"})
    assert "Sign in" in collector.ask("/draw").text
    assert "Sign in" in collector.ask("/draw").text

    # Tries are counted together: the sixth waits, whichever of the two it comes to.
    stranger = Visitor(pair)
    statuses = [stranger.sign_in("perry", "wrong words entirely").status_code for _ in range(7)]
    assert statuses[:5] == [403] * 5
    assert statuses[5:] == [429, 429]

    # A site that was saved at one is the site of the other.
    chief.ask("/site/policy?part=site")
    trail = chief.ask("/trail").text
    assert "took a draw in hand" in trail


def test_two_hundred_sign_ins_and_looks_at_once_over_two_processes_are_all_answered(pair: Pair) -> None:
    chief = Visitor(pair)
    chief.ask("/set-up")
    chief.ask("/set-up", {"code": pair.codes()[1], "name": "chief", "password": WORDS, "again": WORDS})
    cookies = dict(chief.client.cookies)
    statuses: list[int] = []
    lock = threading.Lock()

    def look(number: int) -> None:
        with httpx2.Client(timeout=120, cookies=cookies) as client:
            answer = client.get(f"http://127.0.0.1:{pair.ports[number % 2]}/draw")
        with lock:
            statuses.append(answer.status_code)

    threads = [threading.Thread(target=look, args=(number,)) for number in range(200)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert statuses == [200] * 200
    lines = chief.ask("/trail").text
    assert "opened draw" in lines

"""How requests arrive at the real server: slowly, in part, too many at once; what is kept when it is told to stop."""

from __future__ import annotations

import contextlib
import http.client
import http.cookiejar
import json
import logging
import os
import re
import secrets
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from starlette.applications import Starlette

from cubital.app.accounts import Accounts
from cubital.app.record import SpecimenRecord
from cubital.app.wiring import open_record, open_takings
from cubital.model import Site
from cubital.web import arrival, connection, draw_page
from cubital.web.application import make_application
from cubital.web.arrival import FULL, SLOW
from cubital.web.desk import Desk, Settings
from cubital.web.server import options
from tests.web.chrome import serving
from tests.web.conftest import TODAY, WORDS, Browser

LONG_S = 30.0


Dial = Callable[[str], socket.socket]
"""A new connection to the server of this address, shut when the test ends."""


@pytest.fixture
def dial() -> Iterator[Dial]:
    """Connections of the test's own."""
    with contextlib.ExitStack() as opened:
        yield lambda address: opened.enter_context(_connect(address))


def _connect(address: str) -> socket.socket:
    host, _, port = address.removeprefix("http://").partition(":")
    return socket.create_connection((host, int(port)), timeout=LONG_S)


def rest(line: socket.socket) -> bytes:
    """Everything that still comes, until the server shuts the connection."""
    parts = []
    while True:
        try:
            part = line.recv(65536)
        except ConnectionResetError:
            break
        if not part:
            break
        parts.append(part)
    return b"".join(parts)


def head(address: str, path: str, *, length: int, kind: str = "application/x-www-form-urlencoded") -> bytes:
    """The head of a form of our own page, so many bytes long."""
    return (
        f"POST {path} HTTP/1.1\r\nHost: {address.removeprefix('http://')}\r\nOrigin: {address}\r\n"
        f"Content-Type: {kind}\r\nContent-Length: {length}\r\n\r\n"
    ).encode()


@pytest.fixture
def served(application: Starlette) -> Iterator[str]:
    """The address of a real server of the test's own."""
    with serving(application) as address:
        yield address


def test_a_connection_that_sends_no_head_is_shut(dial: Dial, served: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connection, "HEAD_S", 0.2)
    silent, slow = dial(served), dial(served)
    slow.sendall(b"GET /sign-in HTTP/1.1\r\nHost: ")
    assert rest(silent) == b""
    assert rest(slow) == b""


def test_a_second_head_that_never_ends_is_not_waited_for_either(
    dial: Dial, served: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    line = dial(served)
    line.sendall(f"GET /api/openapi.json HTTP/1.1\r\nHost: {served[7:]}\r\n\r\n".encode())
    assert line.recv(65536).startswith(b"HTTP/1.1 200")
    monkeypatch.setattr(connection, "HEAD_S", 0.2)
    line.sendall(b"GET /sign-in HTTP/1.1\r\n")
    rest(line)  # ends at all: without the limit it would not, within the time-out of the socket


def test_a_head_that_came_whole_is_answered_however_long_that_takes(
    dial: Dial, accounts: Accounts, record: SpecimenRecord, demo: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(connection, "HEAD_S", 0.2)
    begun = threading.Event()

    def linger(*_: object, **__: object) -> None:
        begun.set()
        time.sleep(0.6)  # three times as long as a head may take
        raise RuntimeError

    monkeypatch.setattr(draw_page, "answer_typed", linger)
    application = make_application(Desk(demo, accounts, record=record, today=lambda: TODAY))
    one = Browser(application).sign_in("collector")
    with serving(application) as address:
        line = dial(address)
        body = urllib.parse.urlencode({"token": one.token, "tests": "K"}).encode()
        sent = head(address, "/draw", length=len(body)).replace(
            b"Origin:", f"Cookie: cubital={one.client.cookies['cubital']}\r\nOrigin:".encode()
        )
        line.sendall(sent + body)
        assert line.recv(65536).startswith(b"HTTP/1.1 500")
        assert begun.is_set()


def test_a_form_that_comes_too_slowly_is_refused_in_words(
    dial: Dial, served: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(connection, "LINGER_S", 0.2)
    monkeypatch.setattr(arrival, "LEAST_S", 0.2)
    monkeypatch.setattr(arrival, "LEAST_BYTES_PER_S", 1e9)
    line = dial(served)
    line.sendall(head(served, "/sign-in", length=1000) + b"token=abc")
    answer = rest(line).decode()
    assert answer.startswith("HTTP/1.1 408")
    assert SLOW in answer


def test_a_station_that_hangs_up_in_the_middle_of_a_form_leaves_no_fault(
    dial: Dial, served: str, caplog: pytest.LogCaptureFixture
) -> None:
    for kind in ("application/x-www-form-urlencoded", "application/json"):
        line = dial(served)
        line.sendall(head(served, "/api/plan" if "json" in kind else "/sign-in", length=1000, kind=kind) + b"token=abc")
        line.close()
    with caplog.at_level(logging.WARNING):
        line = dial(served)
        line.sendall(f"GET /sign-in HTTP/1.1\r\nHost: {served[7:]}\r\nConnection: close\r\n\r\n".encode())
        assert b"Sign in" in rest(line)
    assert [one for one in caplog.records if one.levelno >= logging.ERROR] == []


@pytest.mark.parametrize("length", [256 * 1024 + 1, 10**9])
def test_too_large_a_form_is_refused_before_any_of_it_came(
    dial: Dial, served: str, length: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(connection, "LINGER_S", 0.2)
    line = dial(served)
    line.sendall(head(served, "/sign-in", length=length))
    answer = rest(line).decode()
    assert answer.startswith("HTTP/1.1 413")
    assert "More was sent than this page takes" in answer


def test_a_form_of_unsaid_length_is_refused_once_it_is_too_large(
    dial: Dial, served: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(connection, "LINGER_S", 0.2)
    line = dial(served)
    line.sendall(head(served, "/sign-in", length=1).replace(b"Content-Length: 1", b"Transfer-Encoding: chunked"))
    part = b"10000\r\n" + b"a" * 0x10000 + b"\r\n"
    for _ in range(5):
        line.sendall(part)
    assert b"HTTP/1.1 413" in rest(line)


def test_what_still_comes_of_a_refused_form_is_thrown_away_until_the_end_of_it(dial: Dial, served: str) -> None:
    line, length = dial(served), 4 * 256 * 1024
    line.sendall(head(served, "/sign-in", length=length) + b"a" * length)
    assert line.recv(65536).startswith(b"HTTP/1.1 413")
    # The connection is as good as new: the whole of the form was read past.
    line.sendall(f"GET /api/openapi.json HTTP/1.1\r\nHost: {served[7:]}\r\nConnection: close\r\n\r\n".encode())
    assert b"HTTP/1.1 200" in rest(line)


@pytest.mark.parametrize(("is_behind_tls", "last"), [(True, 403), (False, 429)])
def test_for_whom_is_asked_is_believed_of_a_proxy_on_this_machine_and_only_where_there_is_one(
    accounts: Accounts, record: SpecimenRecord, demo: Site, is_behind_tls: bool, last: int,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    monkeypatch.setenv("FORWARDED_ALLOW_IPS", "*")  # what the environment says is not asked
    settings = Settings(is_behind_tls=is_behind_tls)
    application = make_application(Desk(demo, accounts, record=record, today=lambda: TODAY, settings=settings))
    with serving(application, is_behind_tls=is_behind_tls) as address:
        origin = f"{'https' if is_behind_tls else 'http'}://{address[7:]}"
        line = http.client.HTTPConnection(address.removeprefix("http://"), timeout=LONG_S)
        with contextlib.closing(line):
            said = []
            for number in range(6):
                line.request("GET", "/sign-in", headers={"Origin": origin})
                page = line.getresponse()
                form = {"token": _token(page.read().decode()), "name": "teacher", "password": "wrong words"}
                headers = {
                    "Origin": origin, "Cookie": str(page.getheader("Set-Cookie")).partition(";")[0],
                    "Content-Type": "application/x-www-form-urlencoded", "X-Forwarded-For": f"198.51.100.{number}",
                }  # fmt: skip
                line.request("POST", "/sign-in", urllib.parse.urlencode(form), headers)
                answer = line.getresponse()
                answer.read()
                said.append(answer.status)
    assert said == [403] * 5 + [last]
    assert options(is_behind_tls=True)["forwarded_allow_ips"] == ["127.0.0.1", "::1"]


def crowded(demo: Site, accounts: Accounts, record: SpecimenRecord) -> Starlette:
    settings = Settings(most_at_once=1)
    return make_application(Desk(demo, accounts, record=record, today=lambda: TODAY, settings=settings))


def test_one_more_than_the_server_can_hold_is_told_so_and_what_to_do(
    accounts: Accounts, record: SpecimenRecord, demo: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    application = crowded(demo, accounts, record)
    one = Browser(application).sign_in("collector")
    one.get("/draw")
    is_inside, may_go = threading.Event(), threading.Event()

    def wait(*_: object, **__: object) -> None:
        is_inside.set()
        assert may_go.wait(LONG_S)
        raise RuntimeError

    monkeypatch.setattr(draw_page, "answer_typed", wait)
    with serving(application) as address:
        def ask(path: str, form: dict[str, str] | None = None, **more: str) -> tuple[int, str, str]:
            data = None if form is None else urllib.parse.urlencode(form).encode()
            headers = {"Origin": address, "Cookie": f"cubital={one.client.cookies['cubital']}", **more}
            try:
                with urllib.request.urlopen(
                    urllib.request.Request(address + path, data, headers), timeout=LONG_S
                ) as answer:
                    return answer.status, answer.read().decode(), ""
            except urllib.error.HTTPError as error:
                with error:
                    return error.code, error.read().decode(), error.headers.get("Retry-After", "")

        slow = threading.Thread(target=ask, args=("/draw", {"token": one.token, "tests": "K"}))
        slow.start()
        assert is_inside.wait(LONG_S)
        for asked in (("/draw",), ("/take/tap", {"token": one.token}), ("/draw", {"token": one.token, "tests": "K"})):
            status, text, again = ask(*asked)
            assert (status, again) == (503, "3")
            assert FULL in text
        assert ask("/static/cubital.css")[0] == 200
        json_status, text, _ = ask("/api/tests?text=K")
        assert (json_status, json.loads(text)["message"]) == (503, FULL)
        may_go.set()
        slow.join(LONG_S)
        assert ask("/draw")[0] == 200


def test_more_connections_than_the_server_can_hold_are_told_so_and_shut(
    dial: Dial, served: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = f"GET /sign-in HTTP/1.1\r\nHost: {served[7:]}\r\n\r\n".encode()
    idle = dial(served)
    idle.sendall(asked)
    assert idle.recv(65536).startswith(b"HTTP/1.1 200")
    monkeypatch.setattr(connection, "MOST_CONNECTIONS", 1)
    late = dial(served)
    late.sendall(asked)
    answer = rest(late).decode()
    assert answer.startswith("HTTP/1.1 503")
    assert FULL in answer
    assert "content-security-policy" in answer.lower()
    idle.close()


def _station(address: str, cookie: str, token: str, kept: list[str], stopped: threading.Event) -> None:
    """Take one draw after another in hand, as a browser sends it, until the server is gone."""

    line = http.client.HTTPConnection(address.removeprefix("http://"), timeout=LONG_S)
    fields = {"token": token, "tests": "K\nPT", "access": "winged-set"}
    headers = {"Origin": address, "Cookie": f"cubital={cookie}", "Content-Type": "application/x-www-form-urlencoded"}
    with contextlib.closing(line), contextlib.suppress(OSError, http.client.HTTPException):
        while not stopped.is_set():
            form = urllib.parse.urlencode({**fields, "key": secrets.token_urlsafe(16)})
            line.request("POST", "/take", form, headers)
            answer = line.getresponse()
            answer.read()
            kept.append(str(answer.getheader("Location")).rpartition("=")[2])


def test_what_was_answered_before_the_server_was_told_to_stop_is_kept(peopled: bytes, tmp_path: Path) -> None:
    path = tmp_path / "record.db"
    path.write_bytes(peopled)
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    address = f"http://127.0.0.1:{port}"
    command = [sys.executable, "-m", "cubital.cli.main", "serve", "--demo", "--db", str(path), "--port", str(port)]
    server = subprocess.Popen(command, stderr=subprocess.PIPE, text=True, env={**os.environ, "PYTHONUNBUFFERED": "1"})
    kept: list[list[str]] = [[], [], []]
    stopped = threading.Event()
    try:
        cookie, token = _sign_in(address)
        threads = [threading.Thread(target=_station, args=(address, cookie, token, one, stopped)) for one in kept]
        for thread in threads:
            thread.start()
        _until(lambda: all(len(one) >= 3 for one in kept))
        server.send_signal(signal.SIGTERM)
        for thread in threads:
            thread.join(LONG_S)
            assert not thread.is_alive()
        _, err = server.communicate(timeout=LONG_S)
    finally:
        stopped.set()
        server.kill()
        server.wait()
    assert server.returncode == 0, err
    assert "Traceback" not in err
    record = open_record(str(path))
    takings = open_takings(str(path), record=record)
    answered = [code for one in kept for code in one]
    waiting = {taking.code for taking, _ in takings.waiting()}
    for code in answered:
        assert takings.look(code)[0].code == code
    # Of each station one more may have been kept whose answer did not reach it any more.
    assert len(answered) <= len(waiting) <= len(answered) + len(kept)
    takings.close()
    record.close()


def _sign_in(address: str) -> tuple[str, str]:
    """The cookie of a session, and the token of its forms."""
    _until(lambda: _is_there(address))
    jar = http.cookiejar.CookieJar()
    opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(jar))
    opener.addheaders = [("Origin", address)]
    with opener.open(address + "/sign-in", timeout=LONG_S) as page:
        token = _token(page.read().decode())
    form = urllib.parse.urlencode({"token": token, "name": "collector", "password": WORDS}).encode()
    with opener.open(address + "/sign-in", form, timeout=LONG_S) as page:
        token = _token(page.read().decode())
    return next(str(one.value) for one in jar if one.name == "cubital"), token


def _token(text: str) -> str:
    found = re.search(r'name="token" value="([0-9a-f]{64})"', text)
    assert found is not None
    return found[1]


def _is_there(address: str) -> bool:
    try:
        _connect(address).close()
    except OSError:
        return False
    return True


def _until(is_so: Callable[[], bool]) -> None:
    ends = time.monotonic() + 2 * LONG_S
    while not is_so():
        assert time.monotonic() < ends
        time.sleep(0.02)

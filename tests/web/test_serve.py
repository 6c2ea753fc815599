"""`cubital serve`: what it refuses, what it prints, and that it answers on the loopback address and ends when told."""

from __future__ import annotations

import builtins
import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path
from typing import Any

import pytest

import cubital.store.password
import cubital.web
from cubital.app.wiring import upgrade_store
from tests.unit.cli.prompt import say


@pytest.fixture
def record(tmp_path: Path) -> str:
    """A new record."""
    path = str(tmp_path / "record.db")
    upgrade_store(path)
    return path


def test_another_address_than_the_loopback_is_refused_without_tls(record: str) -> None:
    status, out, err = say("serve", "--demo", "--db", record, "--host", "0.0.0.0")
    assert (status, out) == (2, "")
    assert "found 0.0.0.0 without TLS" in err
    assert "--behind-tls" in err


def test_a_record_that_is_not_there_is_refused_with_the_command_that_makes_it(tmp_path: Path) -> None:
    status, _, err = say("serve", "--demo", "--db", str(tmp_path / "none.db"))
    assert status == 2
    assert "cubital db upgrade" in err


@pytest.mark.parametrize("library", ["uvicorn", "argon2", "starlette"])
def test_without_its_libraries_it_names_the_one_command_that_installs_them(
    record: str, monkeypatch: pytest.MonkeyPatch, library: str
) -> None:
    real = builtins.__import__

    def without(name: str, *rest: Any) -> Any:
        if name.partition(".")[0] == library:
            raise ModuleNotFoundError(f"No module named {library!r}", name=library)
        return real(name, *rest)

    monkeypatch.setattr("cubital.web", cubital.web)  # given back after: one imported here lacks parts
    monkeypatch.setattr("cubital.store.password", cubital.store.password)
    for name in list(sys.modules):
        if name.partition(".")[0] == library or name.startswith(("cubital.web", "cubital.store.password")):
            monkeypatch.delitem(sys.modules, name)
    monkeypatch.setattr(builtins, "__import__", without)
    status, _, err = say("serve", "--demo", "--db", record)
    assert status == 2
    assert f"found no {library}; " in err
    assert 'in a checkout run: scripts/setup web; else: pip install "cubital[web]"' in err


def test_help_and_every_other_command_load_nothing_of_the_pages() -> None:
    program = (
        "import sys; from cubital.cli.main import status_of; status_of(['serve', '--help']);"
        "print(sorted({name.partition('.')[0] for name in sys.modules} & {'starlette', 'uvicorn', 'jinja2', 'argon2'}))"
    )
    found = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=30, check=True)
    assert found.stdout.splitlines()[-1] == "[]"


def test_it_serves_the_first_set_up_and_ends_when_it_is_told(record: str) -> None:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [sys.executable, "-m", "cubital.cli.main", "serve", "--demo", "--db", record, "--port", str(port)]
    server = subprocess.Popen(command, stderr=subprocess.PIPE, text=True, env={**os.environ, "PYTHONUNBUFFERED": "1"})
    try:
        page = _open(f"http://127.0.0.1:{port}/")
        assert "First set-up" in page
        server.send_signal(signal.SIGINT)
        _, err = server.communicate(timeout=60)
    finally:
        server.kill()
        server.wait()
    code = re.search(r"its code: (\S{40,})", err)
    assert code is not None
    assert code[1] not in page
    assert f"http://127.0.0.1:{port}/" in err
    assert "Traceback" not in err


def test_a_connection_is_kept_longer_than_a_proxy_keeps_it(record: str, monkeypatch: pytest.MonkeyPatch) -> None:
    import uvicorn

    said: dict[str, Any] = {}
    monkeypatch.setattr(uvicorn, "run", lambda application, **options: said.update(options))
    status, _, err = say("serve", "--demo", "--db", record)
    assert (status, said["host"], said["access_log"]) == (0, "127.0.0.1", False)
    assert "Quillmere" in err
    # nginx keeps an idle connection to a server for 60 s unless told otherwise (ngx_http_upstream_module).
    assert said["timeout_keep_alive"] > 60


def _open(address: str) -> str:
    ends = time.monotonic() + 60
    while True:
        try:
            with urllib.request.urlopen(address, timeout=5) as answer:
                body: bytes = answer.read()
                return body.decode()
        except OSError:
            if time.monotonic() > ends:
                raise
            time.sleep(0.05)

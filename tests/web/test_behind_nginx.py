"""The block of docs/how-to/serve-the-pages.md, run: nginx with TLS before the server, a real browser before nginx."""

from __future__ import annotations

import base64
import hashlib
import os
import re
import shutil
import socket
import ssl
import subprocess
import time
from collections.abc import Iterator
from http.client import HTTPConnection, HTTPResponse, HTTPSConnection
from pathlib import Path
from typing import NamedTuple
from urllib.parse import urlencode

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

from cubital.app.wiring import open_accounts, open_record, open_site_versions, open_takings
from cubital.model import Site
from cubital.web.application import make_application
from cubital.web.desk import Desk, Settings
from tests.web.chrome import WAIT_MS, serving
from tests.web.conftest import TODAY, WORDS
from tests.web.test_browser_take import at_tube, check, fill

PROGRAM = shutil.which("nginx", path=f"{os.environ.get('PATH', '')}:/usr/sbin")
NAME = "draw.hospital.example"
HOW_TO = Path(__file__).parents[2] / "docs" / "how-to" / "serve-the-pages.md"
START_S = 30.0

pytestmark = pytest.mark.skipif(PROGRAM is None, reason="there is no nginx; run: apt-get install nginx-light")


class Proxy(NamedTuple):
    """Where nginx listens, the file of its certificate, its temporary files and its log."""

    port: int
    plain_port: int
    certificate: Path
    folder: Path

    @property
    def address(self) -> str:
        return f"https://{NAME}:{self.port}"

    def ask(
        self, path: str, form: dict[str, str] | bytes | None = None, *, cookie: str = "", **more: str
    ) -> tuple[HTTPResponse, str]:
        """What is answered to one request over TLS, as this name's browser sends it."""
        context = ssl.create_default_context(cafile=str(self.certificate))
        line = _Named(self.port, context)
        headers = {"Host": f"{NAME}:{self.port}", "Origin": self.address, "Cookie": cookie, **more}
        if isinstance(form, dict):
            headers.setdefault("Content-Type", "application/x-www-form-urlencoded")
        body = urlencode(form) if isinstance(form, dict) else form
        line.request("GET" if form is None else "POST", path, body, headers)
        answer = line.getresponse()
        text = answer.read().decode(errors="replace")
        line.close()
        return answer, text


class _Named(HTTPSConnection):
    """A connection to the loopback that asks for the name of the certificate."""

    def __init__(self, port: int, context: ssl.SSLContext) -> None:
        super().__init__("127.0.0.1", port, timeout=START_S)
        self._chosen = context

    def connect(self) -> None:
        plain = socket.create_connection((self.host, self.port), timeout=START_S)
        self.sock = self._chosen.wrap_socket(plain, server_hostname=NAME)


def block() -> str:
    """The block as the page has it."""
    found = re.search(r"```nginx\n(.*?)```", HOW_TO.read_text(encoding="utf-8"), re.S)
    assert found is not None
    return found[1]


def _free_ports(many: int) -> list[int]:
    probes = [socket.socket() for _ in range(many)]
    for probe in probes:
        probe.bind(("127.0.0.1", 0))
    ports: list[int] = [probe.getsockname()[1] for probe in probes]
    for probe in probes:
        probe.close()
    return ports


def _certificate(folder: Path) -> tuple[Path, Path]:
    """A certificate of the test's own for the invented name, and its key."""
    certificate, key = folder / "draw.pem", folder / "draw.key"
    command = [
        "openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", f"/CN={NAME}",
        "-addext", f"subjectAltName=DNS:{NAME}", "-keyout", str(key), "-out", str(certificate),
    ]  # fmt: skip
    subprocess.run(command, check=True, capture_output=True, timeout=START_S)
    return certificate, key


@pytest.fixture(scope="module")
def proxy(peopled: bytes, demo: Site, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Proxy]:
    """Our server behind nginx, which reads the block of the page with other ports and files."""
    folder = tmp_path_factory.mktemp("nginx")
    db = folder / "record.db"
    db.write_bytes(peopled)
    accounts, record = open_accounts(str(db)), open_record(str(db))
    sites, takings = open_site_versions(str(db), demo=True), open_takings(str(db), record=record)
    settings = Settings(names=(NAME,), is_behind_tls=True)
    desk = Desk(
        demo, accounts, record=record, today=lambda: TODAY, sites=sites, takings=takings, settings=settings
    )
    certificate, key = _certificate(folder)
    port, plain_port = _free_ports(2)
    with serving(make_application(desk), is_behind_tls=True) as ours:
        text = block()
        for written, put in (
            ("127.0.0.1:8321", ours.removeprefix("http://")), ("listen 443 ssl", f"listen 127.0.0.1:{port} ssl"),
            ("listen 80", f"listen 127.0.0.1:{plain_port}"), ("/etc/ssl/draw.pem", str(certificate)),
            ("/etc/ssl/draw.key", str(key)),
        ):  # fmt: skip
            assert written in text
            text = text.replace(written, put)
        with _nginx(folder, text, port):
            yield Proxy(port, plain_port, certificate, folder)
    for one in (takings, sites, record, accounts):
        one.close()


class _nginx:
    """An nginx of the test's own in the foreground, ended by its own number."""

    def __init__(self, folder: Path, server: str, port: int) -> None:
        kinds = ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
        temporary = " ".join(f"{kind}_temp_path {folder}/temp-{kind};" for kind in kinds)
        user = "user root;" if os.geteuid() == 0 else ""
        conf = folder / "nginx.conf"
        conf.write_text(
            f"{user} daemon off; worker_processes 1; pid {folder}/nginx.pid; error_log {folder}/error.log warn;\n"
            f"events {{ worker_connections 256; }}\nhttp {{ access_log {folder}/access.log; {temporary}\n{server}}}\n",
            encoding="utf-8",
        )
        assert PROGRAM is not None
        self._process = subprocess.Popen([PROGRAM, "-p", str(folder), "-c", str(conf)])
        self._port = port

    def __enter__(self) -> None:
        ends = time.monotonic() + START_S
        while True:
            assert self._process.poll() is None, "nginx did not take the block"
            try:
                socket.create_connection(("127.0.0.1", self._port), timeout=1).close()
                return
            except OSError:
                assert time.monotonic() < ends
                time.sleep(0.05)

    def __exit__(self, *_: object) -> None:
        self._process.terminate()
        self._process.wait(START_S)


@pytest.fixture(scope="module")
def behind(proxy: Proxy) -> Iterator[Browser]:
    """A browser that finds the name at the proxy and trusts its certificate and no other."""
    command = ["openssl", "x509", "-in", str(proxy.certificate), "-pubkey", "-noout"]
    public = subprocess.run(command, check=True, capture_output=True, timeout=START_S).stdout
    der = subprocess.run(
        ["openssl", "pkey", "-pubin", "-outform", "der"], input=public, check=True, capture_output=True, timeout=START_S
    ).stdout
    pin = base64.b64encode(hashlib.sha256(der).digest()).decode()
    program = shutil.which("chromium")
    assert program is not None
    with sync_playwright() as playwright:
        expect.set_options(timeout=WAIT_MS)
        browser = playwright.chromium.launch(
            executable_path=program,
            args=["--no-sandbox", f"--host-resolver-rules=MAP {NAME} 127.0.0.1",
                  f"--ignore-certificate-errors-spki-list={pin}"],
        )  # fmt: skip
        yield browser
        browser.close()


def _signed_in(behind: Browser, proxy: Proxy, name: str) -> Page:
    # The list of keys holds for a profile on disk only; a context of a test has none.
    context = behind.new_context(ignore_https_errors=True)
    context.set_default_timeout(WAIT_MS)
    page = context.new_page()
    page.goto(proxy.address + "/")
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(WORDS)
    page.get_by_role("main").get_by_role("button", name="Sign in").click()
    page.wait_for_url(proxy.address + "/draw")
    return page


def test_a_collector_plans_and_takes_a_draw_through_the_proxy(behind: Browser, proxy: Proxy) -> None:
    page = _signed_in(behind, proxy, "collector")
    faults: list[str] = []
    page.on("console", lambda said: faults.append(said.text) if said.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: faults.append(str(error)))
    cookies = {one.get("name"): one for one in page.context.cookies()}
    held = cookies["__Host-cubital"]
    assert (held.get("secure"), held.get("httpOnly"), held.get("sameSite")) == (True, True, "Strict")
    page.get_by_label("Tests").fill("PT\nK")
    page.get_by_text("winged set", exact=True).click()
    expect(page.get_by_role("region", name="The draw", exact=True)).to_contain_text("winged set")
    page.get_by_role("button", name="Take this draw").click()
    page.wait_for_url("**/take?draw=*")
    check(page)
    at_tube(page, 1)
    fill(page)
    expect(page.locator("#wire")).to_contain_text("Everything is sent")
    page.evaluate("() => navigator.serviceWorker.ready.then(() => true)")
    page.reload()
    assert page.evaluate("() => Boolean(navigator.serviceWorker.controller)")
    assert faults == []
    page.context.close()


def test_the_bench_opens_through_the_proxy(behind: Browser, proxy: Proxy) -> None:
    page = _signed_in(behind, proxy, "processor")
    page.goto(proxy.address + "/bench")
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    page.context.close()


def test_what_comes_in_clear_is_sent_to_tls(proxy: Proxy) -> None:
    line = HTTPConnection("127.0.0.1", proxy.plain_port, timeout=START_S)
    line.request("GET", "/draw?a=b", headers={"Host": NAME})
    answer = line.getresponse()
    answer.read()
    line.close()
    assert (answer.status, answer.getheader("Location")) == (301, f"https://{NAME}/draw?a=b")
    assert answer.getheader("Server") == "nginx"


def test_the_headers_of_the_server_come_through_once_and_name_no_version(proxy: Proxy) -> None:
    answer, _ = proxy.ask("/sign-in")
    names = [name.lower() for name, _ in answer.getheaders()]
    assert sorted(set(names) - {"set-cookie"}) == sorted(name for name in names if name != "set-cookie")
    assert str(answer.getheader("Strict-Transport-Security")).startswith("max-age=")
    assert "default-src 'none'" in str(answer.getheader("Content-Security-Policy"))
    assert answer.getheader("Server") == "nginx"
    foreign, _ = proxy.ask("/sign-in", Host="elsewhere.example")
    assert foreign.status == 421


def test_an_address_that_a_browser_makes_up_does_not_escape_the_throttle(proxy: Proxy) -> None:
    said = []
    for number in range(7):
        page, text = proxy.ask("/sign-in")
        cookie = str(page.getheader("Set-Cookie")).partition(";")[0]
        token = re.search(r'name="token" value="([0-9a-f]{64})"', text)
        assert token is not None
        form = {"token": token[1], "name": "teacher", "password": f"wrong words {number}"}
        forged = {"X-Forwarded-For": f"198.51.100.{number}", "X-Real-IP": "198.51.100.9", "Forwarded": "for=192.0.2.8"}
        said.append(proxy.ask("/sign-in", form, cookie=cookie, **forged)[0].status)
    assert said == [403] * 5 + [429] * 2


def test_too_large_an_upload_is_refused_in_the_servers_own_words(behind: Browser, proxy: Proxy) -> None:
    page = _signed_in(behind, proxy, "supervisor")
    held = {str(one.get("name")): str(one.get("value")) for one in page.context.cookies()}
    page.goto(proxy.address + "/site/orders")
    token = page.locator("main input[name=token]").first.get_attribute("value")
    page.context.close()
    cookie = f"__Host-cubital={held['__Host-cubital']}"

    def send(size: int) -> tuple[int, str]:
        begin = f'--b\r\nContent-Disposition: form-data; name="token"\r\n\r\n{token}\r\n--b\r\n'
        begin += 'Content-Disposition: form-data; name="orders"; filename="o.jsonl"\r\n\r\n'
        body = begin.encode() + b"\n" * size + b"\r\n--b--\r\n"
        kind = {"Content-Type": "multipart/form-data; boundary=b"}
        answer, text = proxy.ask("/site/orders", body, cookie=cookie, **kind)
        return answer.status, text

    assert send(20 * 1024 * 1024 - 1000)[0] != 413
    status, text = send(20 * 1024 * 1024)
    assert status == 413
    assert "More was sent than this page takes: at most 20 MB" in text


def test_nothing_of_a_patient_is_in_what_the_proxy_wrote(behind: Browser, proxy: Proxy) -> None:
    test_a_collector_plans_and_takes_a_draw_through_the_proxy(behind, proxy)
    written = (proxy.folder / "access.log").read_text() + (proxy.folder / "error.log").read_text()
    assert "/take/tap" in written
    for secret in ("Ottoline", "Invented", "Inventet"):
        assert secret not in written
    left = [one for one in proxy.folder.glob("temp-proxy/**/*") if one.is_file()]
    assert left == []

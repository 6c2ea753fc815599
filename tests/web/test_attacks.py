"""What someone with bad intent sends, from outside and with an account: nothing of it may end in a defect."""

from __future__ import annotations

import io
import logging
import re
import zipfile
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

import pytest
from starlette.applications import Starlette
from starlette.testclient import TestClient

import cubital.web
from cubital.web.pages import PAGES
from tests.web.conftest import HERE, Browser

_SOURCE = "".join(one.read_text(encoding="utf-8") for one in Path(str(cubital.web.__file__)).parent.glob("*.py"))
# Every name that a page reads out of an address or a form.
ASKED = sorted(set(re.findall(r'query\.get\("([a-z_]+)"', _SOURCE)))
SAID = sorted(set(re.findall(r'(?:said|all_said)\("([a-z_]+)"', _SOURCE)) - {"token"})
NASTY = (
    "1e999", "nan", "9" * 1500, "-1", "1_000", "\u0664\u0662", "' OR 1=1 --", "../../etc/passwd", "\r\nSet-Cookie: a=b",
    "<svg onload=alert(1)>", "\xed\xa0\x80\U0010ffff\u202e", "\n" * 500, "2026-02-30", "\ufdfa" * 300,
)  # fmt: skip


@pytest.fixture
def chief(browser: Browser) -> Browser:
    """A supervisor, to whom nearly everything is open."""
    assert browser.sign_in("supervisor").path == "/draw"
    return browser


@pytest.fixture(autouse=True)
def no_defect(caplog: pytest.LogCaptureFixture) -> Iterator[None]:
    """Nothing that the server would have to confess."""
    with caplog.at_level(logging.WARNING):
        yield
    assert [one.getMessage() for one in caplog.records if one.name.startswith(("cubital", "uvicorn"))] == []


@pytest.mark.parametrize("value", NASTY, ids=range(len(NASTY)))
def test_nothing_that_is_written_into_an_address_makes_a_page_fail(chief: Browser, value: str) -> None:
    for page in PAGES:
        if "GET" in page.answers:
            query = "&".join(f"{name}={quote(value, safe='')}" for name in ASKED)
            status = chief.client.get(f"{page.path}?{query}", follow_redirects=False).status_code
            assert status < 500, page.path


@pytest.mark.parametrize("value", NASTY, ids=range(len(NASTY)))
def test_nothing_that_is_typed_into_a_form_makes_a_page_fail(chief: Browser, value: str) -> None:
    for page in PAGES:
        if "POST" in page.answers and not page.is_json and page.path != "/sign-out":
            form = {"token": chief.token, **dict.fromkeys(SAID, value)}
            status = chief.client.post(page.path, data=form, follow_redirects=False).status_code
            assert status < 500, page.path


@pytest.mark.parametrize("charset", ["utf-7", "unicode_escape", "idna", "punycode", "zlib", "utf-16", "x" * 500])
def test_a_form_of_files_in_another_alphabet_than_ours_is_refused(chief: Browser, charset: str) -> None:
    body = b'--b\r\nContent-Disposition: form-data; name="token"\r\n\r\n+2AA- \\ud800 xn--a-\r\n--b--\r\n'
    kind = {"content-type": f"multipart/form-data; boundary=b; charset={charset}"}
    answer = chief.client.post("/results", content=body, headers=kind)
    assert answer.status_code in (400, 403, 415)
    assert "defect" not in answer.text


@pytest.mark.parametrize(
    "body",
    [
        b"", b"--b", b"--b\r\n\r\n\r\n", b"--b\r\n" + b"X" * 600_000 + b": y\r\n\r\n--b--",
        b"--b\r\nContent-Disposition: form-data; name=\"" + b"n" * 600_000 + b'"\r\n\r\nv\r\n--b--\r\n',
        b"--b\r\nContent-Disposition: form-data\r\n\r\nv\r\n--b--\r\n",
        b"--b\r\nContent-Disposition: form-data; name=a\r\n\r\nv\r\n" * 900 + b"--b--\r\n",
        b"--b\r\nContent-Disposition: form-data; name=file; filename=x\r\n\r\nv\r\n" * 40 + b"--b--\r\n",
        b"--b\r\nContent-Disposition: form-data; name=file; filename=\"..%2f..\\\0\"\r\n\r\nK,1\r\n--b--\r\n",
        b"\xff\xfe" * 5000,
    ],
    ids=range(10),
)  # fmt: skip
def test_a_broken_form_of_files_is_refused(chief: Browser, body: bytes) -> None:
    kind = {"content-type": "multipart/form-data; boundary=b"}
    for path in ("/results", "/site/tables/change", "/site/orders"):
        assert 400 <= chief.client.post(path, content=body, headers=kind).status_code < 500


@pytest.mark.parametrize(
    "body", [b"&" * 200_000, b"=" * 200_000, b"a=%zz%", b"token=%ed%a0%80", b"token=\xff\xfe", b";a;b=c"], ids=range(6)
)
def test_a_broken_form_is_refused(browser: Browser, body: bytes) -> None:
    kind = {"content-type": "application/x-www-form-urlencoded"}
    browser.get("/sign-in")
    assert 400 <= browser.client.post("/sign-in", content=body, headers=kind).status_code < 500


@pytest.mark.parametrize(
    "body",
    [b"[" * 100_000, b'{"a":' * 40_000, b'{"tests": [' + b'"K",' * 50_000 + b'"K"]}', b'{"tests": ["\\ud800"]}',
     b"\xff", b'{"tests": ["K"], "id": "a\\u0000\\r\\n"}', b'{"patient": {"weight_kg": 1e400}, "tests": ["K"]}', b"nul",
     b"", b'{"patient": {"weight_kg": ' + b"9" * 5000 + b'}, "tests": ["K"]}', b'{"tests": ["K"], "tests": 1}'],
    ids=range(11),
)  # fmt: skip
def test_a_broken_order_is_refused_by_the_plan_for_programs(chief: Browser, body: bytes) -> None:
    answer = chief.client.post("/api/plan", content=body, headers={"content-type": "application/json"})
    assert answer.status_code < 500
    assert answer.headers["content-type"].startswith("application/json")


def test_a_workbook_that_swells_is_refused_without_being_unpacked(chief: Browser) -> None:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as book:
        book.writestr("[Content_Types].xml", "<Types/>")
        with book.open("xl/worksheets/sheet1.xml", "w", force_zip64=True) as sheet:
            for _ in range(300):
                sheet.write(b" " * 1_000_000)
    chief.get("/site/tables")
    answer = chief.client.post(
        "/site/tables/change", data={"token": chief.token, "do": "look"},
        files={"table": ("bomb.xlsx", packed.getvalue())},
    )  # fmt: skip
    assert answer.status_code < 500


@pytest.mark.parametrize(
    "path",
    ["/%2e%2e/%2e%2e/etc/passwd", "/..%252f..%252fetc%252fpasswd", "/draw%00", "/draw%0d%0aSet-Cookie:%20a=b", "/DRAW",
     "//elsewhere.example/draw/", "/draw/", "/static/..%5c..%5cserver.py", "/static/%c0%ae%c0%ae/x", "/take/../trail",
     "/;/trail", "/trail%2f", "/trail/.", "/trail%20"],
)  # fmt: skip
def test_no_spelling_of_a_path_opens_what_is_shut(browser: Browser, path: str) -> None:
    browser.sign_in("student")
    answer = browser.client.get(path, follow_redirects=False)
    assert answer.status_code in (307, 400, 403, 404) or (answer.status_code == 200 and path == "/take/../trail")
    place = answer.headers.get("location", "http://localhost/")
    assert place.startswith(("http://localhost/", "/"))
    assert "Who did and saw what" not in answer.text
    assert "set-cookie" not in answer.headers


def test_a_nul_is_refused_before_any_database_sees_it(chief: Browser) -> None:
    assert chief.client.get("/take/draws?draw=a%00b").status_code == 400
    assert chief.client.get("/api/tests?te%00xt=K").status_code == 400
    for path in ("/sign-in", "/take/tap", "/bench/tube"):
        assert chief.client.post(path, data={"token": chief.token, "name": "a\0b"}).status_code == 400


def test_all_addresses_of_one_ipv6_network_wait_together(application: Starlette) -> None:
    said = []
    for number in range(7):
        other = Browser(application)
        other.client = TestClient(
            application, base_url=HERE, headers={"Origin": HERE}, client=(f"2001:db8:0:1::{number:x}", 50_000)
        )
        said.append(other.sign_in("teacher", f"wrong words {number}").status)
    assert said == [403] * 5 + [429] * 2

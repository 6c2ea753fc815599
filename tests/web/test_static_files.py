"""The files that the pages load: what is sent compressed, and that no page is."""

from __future__ import annotations

import gzip
from importlib.resources import files

from tests.web.conftest import Browser

NAMES = ("cubital.css", "bench.css", "htmx.min.js", "bench.js", "mark.svg")


def test_text_is_sent_compressed_where_the_browser_takes_it_and_plain_where_not(browser: Browser) -> None:
    for name in NAMES:
        data = (files("cubital.web") / "static" / name).read_bytes()
        with browser.client.stream("GET", f"/static/{name}", headers={"Accept-Encoding": "br, gzip"}) as answer:
            packed = b"".join(answer.iter_raw())
            assert answer.headers["content-encoding"] == "gzip"
            assert answer.headers["vary"] == "Accept-Encoding"
        assert gzip.decompress(packed) == data
        assert len(packed) < len(data)
        for refusing in ("identity", "gzip;q=0"):
            plain = browser.client.get(f"/static/{name}", headers={"Accept-Encoding": refusing})
            assert "content-encoding" not in plain.headers
            assert plain.content == data


def test_a_font_is_sent_as_it_is(browser: Browser) -> None:
    answer = browser.client.get("/static/plex-condensed-regular.woff2", headers={"Accept-Encoding": "gzip"})
    assert "content-encoding" not in answer.headers


def test_no_page_with_a_token_is_compressed(browser: Browser) -> None:
    browser.sign_in("processor")
    for path in ("/sign-in", "/draw", "/bench", "/bench/tube?specimen=x", "/results", "/site"):
        answer = browser.client.get(path, headers={"Accept-Encoding": "gzip, deflate, br"})
        assert "content-encoding" not in answer.headers, path

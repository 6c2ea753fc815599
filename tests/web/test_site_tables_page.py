"""The tables of a site in and out at its page: what is brought in, looked over, tried, saved, and refused."""

from __future__ import annotations

import re

import pytest
from starlette.applications import Starlette

from cubital.app.site_editing import SiteVersions
from tests.web.conftest import Browser
from tests.web.test_site_page import OWN_TUBE, save, supervisor

__all__ = ["supervisor"]


def send(browser: Browser, name: str, data: bytes, **more: str) -> str:
    """Bring a file in by the form of the page."""
    token = browser.get("/site/tables").token
    response = browser.client.post("/site/tables/change", data={"token": token, **more}, files={"table": (name, data)})
    browser.status = response.status_code
    return response.text


def table_of(browser: Browser, kind: str) -> bytes:
    """A file as it goes out."""
    return browser.client.get(f"/site/table?format={kind}").content


@pytest.mark.parametrize("kind", ["xlsx", "csv", "tests.csv", "tubes.csv", "policy.csv", "fhir"])
def test_what_goes_out_comes_in_again_and_changes_nothing(supervisor: Browser, sites: SiteVersions, kind: str) -> None:
    data = table_of(supervisor, kind)
    assert len(data) > 100
    text = send(supervisor, f"site.{kind}", data)
    assert supervisor.status == 200
    assert "found nothing that the site does not say already" in text
    assert sites.draft("supervisor") is None


def test_a_changed_table_is_looked_over_tried_saved_and_used(supervisor: Browser, sites: SiteVersions) -> None:
    data = table_of(supervisor, "tubes.csv")
    changed = data.replace(b"pale blue, ribbed", b"sky blue")
    assert changed != data
    text = send(supervisor, "tubes.csv", changed)
    assert "Brought in, not saved: tubes.csv" in text
    assert "sky blue" in text
    assert sites.history() == ()
    supervisor.post("/site/tables/change", {"do": "try", "draft": shown_draft(text)})
    assert "What it would do</h2>" in supervisor.text
    supervisor.post("/site/tables/change", {"do": "save", "note": "new caps", "draft": shown_draft(supervisor.text)})
    assert supervisor.path == "/site/version"
    assert sites.newest().site.kinds["citrate"].stopper == "sky blue"
    assert sites.draft("supervisor") is None


def test_a_table_with_an_error_is_refused_with_every_finding_and_nothing_is_kept(
    supervisor: Browser, sites: SiteVersions
) -> None:
    text = send(supervisor, "tests.csv", table_of(supervisor, "tests.csv").replace(b",plasma,", b",sweat,"))
    assert supervisor.status == 422
    assert "Nothing was taken in" in text
    assert "sweat" in text
    assert sites.draft("supervisor") is None


@pytest.mark.parametrize("data", [b"", b"PK\x03\x04", b"\x00\x01", b"a,b\n1,2\n", b'{"resourceType": "Patient"}'])
def test_a_file_that_is_no_table_is_refused(supervisor: Browser, sites: SiteVersions, data: bytes) -> None:
    send(supervisor, "strange", data)
    assert supervisor.status == 422
    assert sites.draft("supervisor") is None


def test_a_table_that_was_brought_in_before_someone_saved_is_not_laid_over_it(
    supervisor: Browser, application: Starlette, sites: SiteVersions
) -> None:
    text = send(supervisor, "tubes.csv", table_of(supervisor, "tubes.csv").replace(b"pale blue, ribbed", b"sky blue"))
    shown = shown_draft(text)
    other = Browser(application).sign_in("administrator").get("/site/test?key=potassium")
    save(other, OWN_TUBE)
    supervisor.get("/site/tables").post("/site/tables/change", {"do": "save", "note": "new caps", "draft": shown})
    assert supervisor.status == 409
    assert "Someone saved since this was brought in" in supervisor.text
    assert "own tube" in supervisor.text
    assert [one.number for one in sites.history()] == [1, 0]
    supervisor.post("/site/tables/change", {"do": "drop", "draft": shown})
    assert sites.draft("supervisor") is None
    supervisor.post("/site/tables/change", {"do": "save", "note": "again", "draft": shown})
    assert supervisor.status == 422


def test_a_format_that_is_none_is_refused(collector: Browser) -> None:
    assert collector.get("/site/table?format=../etc").status == 404
    assert "Bring a table in" not in collector.get("/site/tables").text


_SHOWN = re.compile(r'name="draft" value="([0-9a-f]{64})"')


def shown_draft(text: str) -> str:
    """The digest of the draft that a page shows, as its form sends it."""
    found = _SHOWN.search(text)
    assert found is not None
    return found[1]


@pytest.mark.parametrize("do", ["save", "drop"])
def test_of_two_tabs_only_the_draft_that_is_shown_is_saved_or_thrown_away(
    supervisor: Browser, sites: SiteVersions, do: str
) -> None:
    stock, tests = table_of(supervisor, "tubes.csv"), table_of(supervisor, "tests.csv")
    first = shown_draft(send(supervisor, "caps.csv", stock.replace(b"pale blue, ribbed", b"sky blue")))
    second = shown_draft(send(supervisor, "benches.csv", tests.replace(b"toxicology", b"night lab")))
    assert first != second
    supervisor.post("/site/tables/change", {"do": do, "note": "new caps", "draft": first})
    assert supervisor.status == 409
    assert "This page showed another file" in supervisor.text
    assert "benches.csv, brought in at" in supervisor.text
    assert "<ins>night lab</ins>" in supervisor.text
    assert "sky blue" not in supervisor.text
    assert shown_draft(supervisor.text) == second
    assert sites.history() == ()
    supervisor.post("/site/tables/change", {"do": "save", "note": "nights", "draft": second})
    assert supervisor.path == "/site/version"
    assert "night lab" in {test.bench for test in sites.newest().site.tests.values()}


def test_a_try_in_the_older_of_two_tabs_says_that_it_is_of_the_other_file(supervisor: Browser) -> None:
    stock = table_of(supervisor, "tubes.csv")
    first = shown_draft(send(supervisor, "caps.csv", stock.replace(b"pale blue, ribbed", b"sky blue")))
    send(supervisor, "other.csv", stock.replace(b"pale blue, ribbed", b"pale green"))
    supervisor.post("/site/tables/change", {"do": "try", "draft": first})
    assert supervisor.status == 409
    assert "What it would do</h2>" not in supervisor.text


@pytest.mark.parametrize("digest", ["", "0" * 64])
def test_a_save_that_does_not_say_which_draft_it_was_shown_is_refused(
    supervisor: Browser, sites: SiteVersions, digest: str
) -> None:
    send(supervisor, "caps.csv", table_of(supervisor, "tubes.csv").replace(b"pale blue, ribbed", b"sky blue"))
    supervisor.post("/site/tables/change", {"do": "save", "note": "new caps", "draft": digest})
    assert supervisor.status == 409
    assert sites.history() == ()


def test_one_file_brought_in_again_is_the_draft_that_was_shown(supervisor: Browser, sites: SiteVersions) -> None:
    data = table_of(supervisor, "tubes.csv").replace(b"pale blue, ribbed", b"sky blue")
    assert shown_draft(send(supervisor, "caps.csv", data)) == shown_draft(send(supervisor, "caps.csv", data))


def test_a_table_that_takes_tests_out_tells_which_panels_go_with_them(supervisor: Browser) -> None:
    lines = table_of(supervisor, "tests.csv").split(b"\r\n")
    kept = b"\r\n".join(line for line in lines if not line.startswith(b"chloride,"))
    text = send(supervisor, "tests.csv", kept, replace="1")
    assert "the panel electrolytes without chloride" in text

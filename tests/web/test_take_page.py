"""The Take page without a browser: what it takes in, once, what it refuses, and what it never shows."""

from __future__ import annotations

import json
import logging
import re
import secrets
import threading
import time
from typing import Any

import pytest
from starlette.applications import Starlette

from cubital.app.record import SpecimenRecord
from cubital.app.site_editing import SiteVersions
from cubital.app.taking import Takings
from cubital.app.taking_steps import steps_of
from cubital.model import Site
from cubital.web.take_page import SHELL
from tests.unit.app.identity_cases import REQUEST
from tests.web.conftest import Browser

NAME, NUMBER, BORN = REQUEST
SAID = {"name": NAME, "number": NUMBER, "born": BORN, "stated_name": "Ottoline Invented", "stated_second": BORN}
SECRETS = (NAME, NUMBER, BORN, "Ottoline", "Inventet")


class Chair:
    """A browser with a draw in hand."""

    def __init__(self, browser: Browser, code: str, *, station: str = "take-AAAA") -> None:
        self.browser, self.code, self.station = browser, code, station

    def tap(self, kind: str, step: int, /, **more: str) -> dict[str, Any]:
        """What the server answers to one tap."""
        now = str(int(time.time() * 1000))
        form: dict[str, str | list[str]] = {
            "key": f"{self.station}/{self.code}/{kind}/{step}", "draw": self.code, "kind": kind, "step": str(step),
            "at": now, "now": now, "by": "collector", "station": self.station,
        }  # fmt: skip
        form.update(SAID if kind == "identified" else {})
        form.update(more)
        self.browser.post("/take/tap", form)
        assert self.browser.status == 200, self.browser.text
        found: dict[str, Any] = json.loads(self.browser.text)
        return found

    def view(self) -> dict[str, Any]:
        """The draw as the page gets it."""
        found: dict[str, Any] = json.loads(self.browser.get(f"/take/draws?draw={self.code}").text)
        view: dict[str, Any] = found["draw"]
        return view


def begin(browser: Browser, tests: str = "PT\nK\nCBC", **more: Any) -> Chair:
    browser.post("/take", {"tests": tests, "access": "winged-set", "key": secrets.token_urlsafe(16), **more})
    assert browser.path == "/take", browser.text
    code = json.loads(browser.get("/take/draws").text)["draws"][-1]["code"]
    browser.get("/take")
    return Chair(browser, code)


@pytest.fixture
def chair(collector: Browser) -> Chair:
    """A collector with a draw in hand whose patient was checked."""
    found = begin(collector)
    assert found.tap("identified", 1) == {"ok": True}
    return found


def test_the_draw_page_hands_over_what_it_shows_and_not_what_is_typed_since(collector: Browser) -> None:
    collector.post("/draw", {"tests": "PT\nCBC", "age": "61", "flag": ["latex-allergy"], "access": "winged-set"})
    hook = re.search(r'<form method="post" action="/take".*?</form>', collector.text, re.S)
    assert hook is not None
    fields = dict(re.findall(r'name="([a-z_]+)" value="([^"]*)"', hook[0]))
    assert (fields["tests"], fields["age"], fields["flag"]) == ("PT\nCBC", "61", "latex-allergy")
    assert (fields["access"], len(fields["token"])) == ("winged-set", 64)


def test_a_second_press_of_the_button_is_the_first_draw(collector: Browser, takings: Takings) -> None:
    collector.post("/draw", {"tests": "K", "access": "winged-set"})
    hook = re.search(r'<form method="post" action="/take".*?</form>', collector.text, re.S)
    assert hook is not None
    form = dict(re.findall(r'name="([a-z_]+)" value="([^"]*)"', hook[0]))
    codes: list[str] = []
    gate = threading.Barrier(4)

    def press() -> None:
        gate.wait()
        answer = collector.client.post("/take", data=form, follow_redirects=False)
        codes.append(answer.headers["location"])

    presses = [threading.Thread(target=press) for _ in range(4)]
    for one in presses:
        one.start()
    for one in presses:
        one.join()
    assert [f"/take?draw={taking.code}" for taking, _ in takings.waiting()] == sorted(set(codes))
    assert len(codes) == 4
    # The next answer has a key of its own: the same order again is another draw.
    collector.post("/draw", {"tests": "K", "access": "winged-set"})
    again = re.search(r'name="key" value="([^"]*)"', collector.text)
    assert again is not None
    assert again[1] != form["key"]
    collector.post("/take", form | {"key": again[1]})
    assert len(takings.waiting()) == 2


@pytest.mark.parametrize("more", [{"key": ""}, {"key": "x"}, {"tests": "CBC"}], ids=str)
def test_a_key_that_is_none_or_stands_for_another_order_begins_nothing_and_shows_the_draw(
    collector: Browser, takings: Takings, more: dict[str, str]
) -> None:
    form: dict[str, str | list[str]] = {"tests": "K", "key": "a-key-of-sixteen-letters"}
    collector.post("/take", form)
    collector.get("/take")
    collector.post("/take", {**form, **more})
    assert "<title>Draw" in collector.text
    assert "Take this draw" in collector.text
    assert len(takings.waiting()) == 1


@pytest.mark.parametrize("tests", ["PT\npotasium", "", "urine culture"])
def test_a_draw_with_a_line_in_doubt_is_not_taken_in_hand(collector: Browser, takings: Takings, tests: str) -> None:
    collector.post("/draw", {"tests": tests})
    assert 'action="/take"' not in collector.text
    collector.post("/take", {"tests": tests})
    assert "<title>Draw" in collector.text
    assert takings.waiting() == ()


def test_a_number_that_is_none_is_not_taken_in_hand(collector: Browser, takings: Takings) -> None:
    collector.post("/take", {"tests": "K", "weight_kg": "70 kg"})
    assert "expected a number" in collector.text
    assert takings.waiting() == ()


def test_only_those_who_draw_are_offered_to_take_a_draw(browser: Browser) -> None:
    for role, may in (("collector", True), ("supervisor", True), ("student", False), ("processor", False)):
        browser.client.cookies.clear()
        browser.sign_in(role).post("/draw", {"tests": "K"})
        assert ("Take this draw" in browser.text) == may


def test_the_words_of_each_tube_are_those_of_the_plan(collector: Browser, takings: Takings) -> None:
    chair = begin(collector, "PT\nK\nlactate\ntotal bilirubin\nblood culture")
    view = chair.view()
    taking, _ = takings.look(chair.code)
    assert [step["specimen"] for step in view["steps"]] == [step.specimen for step in steps_of(taking)]
    for shown, step in zip(view["steps"], steps_of(taking), strict=True):
        words = " ".join(re.sub(r"<[^>]+>", " ", shown["html"]).split())
        assert step.tube.name in words
        assert f"{step.tube.draw_ul / 1000:g} mL" in words
        if step.tube.inversions:
            assert f"invert {step.tube.inversions} times" in words
        assert ("accepted from" in words) == (step.tube.fill_min_percent is not None and step.specimen is not None)
        assert ("ICE" in words) == ("ice" in step.tube.handling)
        assert ("DARK" in words) == ("protect_from_light" in step.tube.handling)
        assert ("fill, then throw away" in words) == (step.tube.purpose == "discard")
    assert {"discard", "culture", "collect"} <= {step["purpose"] for step in view["steps"]} | {"discard"}


def test_a_draw_says_on_which_version_it_was_planned_and_is_not_stopped_by_the_next(
    collector: Browser, takings: Takings, sites: SiteVersions
) -> None:
    chair = begin(collector, "HRS", stat="1")
    assert takings.look(chair.code)[0].site_version == 0
    assert chair.view()["made"].endswith("by collector on the site's folder, no version kept")
    assert chair.view()["moved_on"] == ""
    turns = {**sites.newest().tables["tubes.toml"]["edta"], "inversions": 9}
    sites.save("supervisor", 0, {"tubes.toml": {"edta": turns}}, "nine turns")
    words = chair.view()["moved_on"]
    assert words.startswith("planned on the site's folder, no version kept; version 1 of the site is in force since 20")
    assert words.endswith("plan again, or check each tube before you fill it")
    assert [one["moved_on"] for one in json.loads(collector.get("/take/draws").text)["draws"]] == [words]
    second = begin(collector, "HRS", stat="1")
    assert second.view()["made"].endswith("on version 1 of the site")
    assert second.view()["moved_on"] == ""
    # What was planned stays: the test that is gone from the site keeps its name, its tube and its label.
    before = [step["html"] for step in chair.view()["steps"]]
    sites.save("supervisor", 1, {"tests.toml": {"house-research-serum": None}}, "the study has ended")
    assert [step["html"] for step in chair.view()["steps"]] == before
    assert [chair.tap("identified", 1), chair.tap("filled", 1)] == [{"ok": True}] * 2
    collector.get("/take")
    form = {"draw": chair.code, "step": "1", "stock": "roll-50x25", "station": chair.station}
    assert collector.post("/take/labels", form).status == 200
    chair.tap("set-aside", 0, why="other")
    assert chair.view()["moved_on"] == ""


def test_a_half_filled_citrate_tube_shows_its_own_limit(chair: Chair) -> None:
    html = chair.view()["steps"][1]["html"]
    assert "accepted from 1.62 mL, 90 %; less is refused" in html
    assert 'class="least-line"' in html


def test_a_filled_tube_is_in_the_record_once_however_often_it_is_sent(chair: Chair, record: SpecimenRecord) -> None:
    chair.tap("filled", 1)
    assert [chair.tap("filled", 2) for _ in range(2)] == [{"ok": True}, {"ok": False, "again": False, "stop": True,
        "said": "tap: found the key of another tap; expected a key for each"}]  # fmt: skip
    at = str(int(time.time() * 1000))
    first = chair.tap("filled", 3, at=at)
    assert first == chair.tap("filled", 3, at=at) == {"ok": True}
    assert len(record.history(f"{chair.code}-3")) == 1
    assert record.specimens_of(NUMBER)[0].id == f"{chair.code}-2"


def test_identifiers_that_differ_are_refused_and_nothing_of_them_is_kept_or_shown(
    collector: Browser, takings: Takings, caplog: pytest.LogCaptureFixture
) -> None:
    chair = begin(collector)
    with caplog.at_level(logging.DEBUG):
        found = chair.tap("identified", 1, stated_name="Ottoline Inventet")
    assert (found["ok"], found["again"], found["stop"]) == (False, False, True)
    assert not any(secret in found["said"] + caplog.text for secret in SECRETS)
    assert takings.look(chair.code)[0].identity is None
    assert chair.tap("filled", 1)["said"].startswith(f"{chair.code}: found no check of two identifiers")
    collector.client.cookies.clear()
    collector.sign_in("supervisor").get("/trail")
    assert "was stopped: identifiers did not agree" in collector.text
    assert chair.code in collector.text


def test_nothing_of_the_patient_is_in_the_page_the_list_the_draw_or_the_trail(chair: Chair) -> None:
    chair.tap("filled", 1)
    chair.tap("filled", 2)
    browser = chair.browser
    for path in ("/take", f"/take?draw={chair.code}", "/take/draws", f"/take/draws?draw={chair.code}", "/take/shell"):
        assert not any(secret in browser.get(path).text for secret in SECRETS if secret != BORN), path
    browser.client.cookies.clear()
    browser.sign_in("supervisor").get("/trail")
    assert "checked two identifiers" in browser.text
    assert f"{chair.code}-2" in browser.text
    assert not any(secret in browser.text for secret in SECRETS)


def test_the_second_device_is_told_who_was_first(chair: Chair) -> None:
    other = Chair(chair.browser, chair.code, station="take-BBBB")
    other.tap("identified", 1)
    chair.tap("filled", 1)
    found = other.tap("filled", 1)
    assert not found["ok"]
    assert "collector at take-AAAA was first" in found["said"]
    assert other.view()["steps"][0]["settled"]["station"] == "take-AAAA"


def test_a_tap_of_someone_else_is_not_taken_for_one_s_own(chair: Chair) -> None:
    found = chair.tap("filled", 1, by="supervisor")
    assert (found["ok"], found["again"]) == (False, True)
    assert chair.view()["steps"][0]["settled"] is None


def test_labels_come_only_of_filled_tubes_after_the_check(collector: Browser) -> None:
    chair = begin(collector)
    form: dict[str, str | list[str]] = {
        "draw": chair.code, "step": ["2"], "stock": "roll-50x25", "station": "take-AAAA",
    }  # fmt: skip
    assert collector.post("/take/labels", form).status == 422
    assert "no check of two identifiers" in collector.text
    chair.tap("identified", 1)
    assert collector.post("/take/labels", form).status == 422
    assert "expected a label after filling" in collector.text
    collector.get("/take")
    chair.tap("filled", 1)
    chair.tap("filled", 2)
    collector.post("/take/labels", form)
    assert (collector.status, collector.headers["content-type"]) == (200, "application/pdf")
    assert collector.headers["cache-control"] == "no-store"
    assert collector.headers["content-disposition"] == f'inline; filename="labels-{chair.code}.pdf"'
    assert collector.post("/take/labels", form | {"stock": "none"}).status == 422
    collector.get("/take")
    assert not chair.tap("labelled", 2, scanned=f"{chair.code}-3")["ok"]
    assert chair.tap("labelled", 2, scanned=f"{chair.code}-2")["ok"]


def test_what_is_no_tap_of_the_page_is_refused(chair: Chair) -> None:
    for more in (
        {"kind": "printed"}, {"kind": "eaten"}, {"step": "-1"}, {"step": "x"}, {"key": "short"},
        {"key": "a b c d e f g"}, {"key": "X7K2/printed/3"},
        {"at": "never"}, {"now": "1" * 20}, {"station": ""}, {"at": "0"}, {"why": "x", "kind": "not-drawn"},
    ):  # fmt: skip
        found = chair.tap("filled", 1, **more)
        assert (found["ok"], found["again"]) == (False, False), more
    assert chair.view()["steps"][0]["settled"] is None


def test_a_token_of_another_session_is_refused_and_the_tap_goes_through_after_signing_in_again(
    chair: Chair, application: Starlette
) -> None:
    browser = chair.browser
    old = browser.token
    browser.client.cookies.clear()
    browser.get("/sign-in")
    assert browser.client.post("/take/tap", data={"token": old, "kind": "filled"}).status_code == 403
    answer = browser.client.get("/take/draws", follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, "/sign-in")
    browser.sign_in("collector")
    token = json.loads(browser.get("/take/draws").text)["token"]
    assert token != old
    browser.token = token
    assert chair.tap("filled", 1) == {"ok": True}


def test_the_shell_and_the_worker_hold_no_name_no_token_and_nobody(collector: Browser) -> None:
    collector.get("/take/shell")
    assert 'name="token" value=' not in collector.text
    assert ">collector<" not in collector.text
    assert 'id="take"' in collector.text
    collector.get("/take/worker.js")
    assert collector.headers["content-type"].startswith("text/javascript")
    assert collector.headers["service-worker-allowed"] == "/take"
    files = re.findall(r'"(/static/[^"]+)"', collector.text)
    assert len(files) == len(SHELL) + 2
    for address in files:
        assert collector.client.get(address).status_code == 200, address
    assert "/static/take.js?v=" in collector.text
    assert "/take/draws" not in collector.text


def test_a_draw_that_is_not_there_is_said_and_no_defect(collector: Browser) -> None:
    found = json.loads(collector.get("/take/draws?draw=NONE22").text)
    assert found["draw"] is None
    assert "no such draw" in found["said"]


def test_the_whole_page_is_small(collector: Browser, demo: Site) -> None:
    names = [name for name in SHELL if name.startswith("take")]
    size = sum(len(collector.client.get(f"/static/{name}").content) for name in names)
    assert size < 60_000

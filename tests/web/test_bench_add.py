"""Adding and drawing again at the Bench page without a browser."""

from __future__ import annotations

import html
import re
from typing import Any

import pytest
from starlette.applications import Starlette

from cubital.app.record import SpecimenRecord
from cubital.model.specimen import Added, Discarded
from tests.web.conftest import Browser
from tests.web.test_bench_page import bench, demo_application, morning, text_of

__all__ = ["bench", "demo_application", "morning"]
TUBE = "INV06-2"


def hidden(browser: Browser) -> dict[str, str]:
    """The key of the form and the mark of the answer."""
    return dict(re.findall(r'name="(key|shown)" value="([^"]+)"', browser.text))


def test_it_says_which_specimen_serves_a_test_and_why_the_others_do_not(
    bench: Browser, morning: SpecimenRecord
) -> None:
    bench.get("/bench/add")
    bench.post("/bench/add", {"specimen": "INV06-1", "tests": "CRP, lactate", "do": "ask"})
    said = text_of(bench)
    assert "✓ yes C-reactive protein in INV06-2 : takes" in said
    assert "✕ draw lactate" in said
    assert "citrate, which the test does not accept" in said
    assert "Draw again: lactate" in said
    assert "No choice of what is there needs a smaller draw" in said
    assert len(re.findall('<svg class="tube"', bench.text)) == 1
    assert "invented-" not in bench.text


def test_a_line_in_doubt_is_not_asked_and_near_ones_are_offered(bench: Browser, morning: SpecimenRecord) -> None:
    bench.get("/bench/add")
    bench.post("/bench/add", {"specimen": TUBE, "tests": "CRP\nmagnesum", "do": "ask"})
    assert "Not asked yet: 1 line" in text_of(bench)
    assert "yes C-reactive protein" in text_of(bench)
    found = re.search(r'name="instead" value="([^"]+)">magnesium<', bench.text)
    assert found is not None
    bench.post("/bench/add", {"specimen": TUBE, "tests": "CRP\nmagnesum", "instead": html.unescape(found[1])})
    assert "Not asked yet" not in text_of(bench)
    assert "magnesium" in text_of(bench)


def test_nothing_is_booked_while_a_line_is_in_doubt(bench: Browser, morning: SpecimenRecord) -> None:
    bench.get("/bench/add")
    form = {"specimen": TUBE, "tests": "CRP\nmagnesum"}
    bench.post("/bench/add", {**form, "do": "ask"})
    assert 'value="book"' not in bench.text
    bench.post("/bench/add", {**form, "do": "ask", "tests": "CRP"})
    bench.post("/bench/add", {**form, **hidden(bench), "do": "book"})
    assert "Nothing was recorded: a line is not settled" in text_of(bench)
    assert not any(isinstance(one.content, Added) for one in morning.history(TUBE))


def test_only_the_answer_that_was_shown_is_recorded_and_only_once(bench: Browser, morning: SpecimenRecord) -> None:
    bench.get("/bench/add")
    form = {"specimen": TUBE, "tests": "CRP"}
    bench.post("/bench/add", {**form, "do": "book", "key": "k1"})
    assert "Nothing was recorded: look at it again" in text_of(bench)
    bench.post("/bench/add", {**form, "do": "ask"})
    booked = {**form, **hidden(bench), "do": "book"}
    for _ in range(2):
        bench.post("/bench/add", booked)
        assert bench.status == 200
        assert "Recorded C-reactive protein added to INV06-2" in text_of(bench)
    added = [entry.content for entry in morning.history(TUBE) if isinstance(entry.content, Added)]
    assert [(one.tests, one.by, one.station) for one in added] == [(("c-reactive-protein",), "processor", "bench page")]
    bench.post("/bench/add", {**form, "do": "ask"})
    assert "C-reactive protein is asked of INV06-2 already" in text_of(bench)


def test_what_is_gone_since_it_was_shown_is_not_booked(bench: Browser, morning: SpecimenRecord) -> None:
    bench.get("/bench/add")
    form = {"specimen": TUBE, "tests": "CRP"}
    bench.post("/bench/add", {**form, "do": "ask"})
    shown = hidden(bench)
    specimen = morning.specimen(TUBE)
    assert specimen is not None
    from cubital.app.clock import now
    from cubital.app.deeds import Doer, record_discard

    record_discard(morning, [TUBE], Doer("other", "other bench", now()), why="invented")
    bench.post("/bench/add", {**form, **shown, "do": "book"})
    assert "Nothing was recorded" in text_of(bench)
    assert isinstance(morning.history(TUBE)[-1].content, Discarded)


def test_of_two_who_add_to_one_specimen_the_second_is_told_who_was_first(
    bench: Browser, morning: SpecimenRecord, monkeypatch: pytest.MonkeyPatch
) -> None:
    from cubital.app.addon import record_addon
    from cubital.app.clock import now
    from cubital.app.deeds import Doer, record_storage
    from cubital.web import bench_add

    bench.get("/bench/add")
    form = {"specimen": TUBE, "tests": "CRP"}
    bench.post("/bench/add", {**form, "do": "ask"})

    def overtaken(*given: Any, **more: Any) -> Any:
        record_storage(morning, [TUBE], Doer("other", "other bench", now()), storage="cold")
        return record_addon(*given, **more)

    monkeypatch.setattr(bench_add, "record_addon", overtaken)
    bench.post("/bench/add", {**form, **hidden(bench), "do": "book"})
    assert bench.status == 409
    assert f"other at other bench was first: {TUBE} was stored at" in text_of(bench)
    assert "Nothing of yours was recorded" in text_of(bench)
    assert type(morning.history(TUBE)[-1].content).__name__ == "Stored"


def test_refused_tests_get_the_least_new_draw_as_a_tray(bench: Browser, morning: SpecimenRecord) -> None:
    bench.get("/bench/add")
    bench.post("/bench/add", {"specimen": "INV12-1", "tests": "", "do": "redraw", "age": "50", "weight_kg": "60"})
    assert bench.status == 200
    said = text_of(bench)
    assert "Draw again: complete blood count" in said
    assert "1 tube, 2 mL of blood" in said
    assert "50 a, 60 kg" in said
    assert ">complete-blood-count</textarea>" in bench.text


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({"specimen": "NOPE", "tests": "K"}, "That specimen is not on record"),
        ({"specimen": TUBE, "tests": " "}, "found no test"),
        ({"specimen": TUBE, "tests": "", "do": "redraw"}, "found no refused test"),
        ({"specimen": TUBE, "tests": "K", "weight_kg": "heavy"}, "expected a number"),
        ({"specimen": TUBE, "tests": "\n".join(f"x{n}" for n in range(251))}, "at most 250"),
    ],
)
def test_what_cannot_be_asked_is_refused_in_words(
    bench: Browser, morning: SpecimenRecord, form: dict[str, str], said: str
) -> None:
    bench.get("/bench/add")
    bench.post("/bench/add", {"do": "ask", **form})
    assert bench.status == 422
    assert said in text_of(bench)
    assert "NOPE" not in bench.text


def test_who_may_take_draws_is_offered_none_of_them_here(demo_application: Starlette, morning: SpecimenRecord) -> None:
    browser = Browser(demo_application)
    browser.sign_in("supervisor")
    browser.get("/bench/add")
    browser.post("/bench/add", {"specimen": "INV12-1", "tests": "", "do": "redraw"})
    assert browser.status == 200
    assert "Draw again: complete blood count" in text_of(browser)
    assert "Take this draw" not in browser.text

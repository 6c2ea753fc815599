"""Deeds at the Bench page without a browser: what is possible, asked once where final, written once, lost races."""

from __future__ import annotations

import re

import pytest
from starlette.applications import Starlette

from cubital.app.record import SpecimenRecord
from cubital.model.specimen import Aliquoted, Discarded, Reported, Spun, Stored
from tests.web.conftest import Browser
from tests.web.test_bench_page import bench, demo_application, morning, text_of

__all__ = ["bench", "demo_application", "morning"]
TUBE, WAITS, SPUN = "INV10-1", "INV05-1", "INV14-1"
RUN = {"do": "spun", "rcf_g": "1500", "minutes": "15", "temp_c": "21"}


def opened(browser: Browser, id: str, deed: str) -> dict[str, str]:
    """The hidden fields of the form of this deed."""
    browser.get(f"/bench/tube?specimen={id}")
    form = next(part for part in browser.text.split("<form ") if f'name="do" value="{deed}"' in part)
    return dict(re.findall(r'type="hidden" name="(specimen|key|seen)" value="([^"]*)"', form))


def last(record: SpecimenRecord, id: str) -> object:
    """What was written of it last."""
    return record.history(id)[-1].content


def confirmed(browser: Browser, form: dict[str, str]) -> Browser:
    """Sent, shown, and sent again as sure, with all that it had said."""
    browser.post("/bench/did", form)
    assert "It cannot be taken back" in text_of(browser)
    part = next(part for part in browser.text.split("<form ") if 'name="sure"' in part)
    kept = dict(re.findall(r'type="hidden" name="([^"]+)" value="([^"]*)"', part))
    return browser.post("/bench/did", {**kept, "do": form["do"]})


def test_a_tube_is_put_somewhere_by_one_press_and_stays_only_once(bench: Browser, morning: SpecimenRecord) -> None:
    form = {**opened(bench, TUBE, "stored"), "do": "stored", "storage": "cold"}
    for _ in range(2):
        assert bench.post("/bench/did", form).path == "/bench/tube"
    stored = [entry.content for entry in morning.history(TUBE) if isinstance(entry.content, Stored)]
    assert [(one.storage, one.by, one.station) for one in stored] == [("cold", "processor", "bench page")]
    assert "recorded at 2-8 C" in text_of(bench)
    assert 'name="storage" value="cold"' not in bench.text


def test_a_final_deed_is_asked_once_more_and_written_once(bench: Browser, morning: SpecimenRecord) -> None:
    form = {**opened(bench, WAITS, "discarded"), "do": "discarded", "why": "dropped and broken"}
    before = morning.head()
    bench.post("/bench/did", form)
    said = text_of(bench)
    assert "Write it down? It cannot be taken back. INV05-1 thrown away: dropped and broken, just now" in said
    assert "Still waiting in it:" in said
    assert "They would have to be drawn again" in said
    assert morning.head() == before
    for _ in range(2):
        bench.post("/bench/did", {**form, "sure": "1"})
        assert (bench.status, bench.path) == (200, "/bench/tube")
    gone = [entry.content for entry in morning.history(WAITS) if isinstance(entry.content, Discarded)]
    assert [(one.why, one.by) for one in gone] == [("dropped and broken", "processor")]
    assert "Thrown away not now: cannot be discarded: found it was discarded at" in text_of(bench)


def test_a_run_a_pouring_and_a_result_are_written_as_they_were_said(bench: Browser, morning: SpecimenRecord) -> None:
    confirmed(bench, {**opened(bench, TUBE, "spun"), **RUN, "ago_min": "5"})
    spun = last(morning, TUBE)
    assert isinstance(spun, Spun)
    assert (spun.rcf_g, spun.spin_s, spun.temperature_c) == (1500, 900, 21)
    delay_s = morning.history(TUBE)[-1].delay_s
    assert 290 <= delay_s <= 600
    assert "Spun not now: spun before" in text_of(bench)
    confirmed(bench, {**opened(bench, TUBE, "poured"), "do": "poured", "into": "INV10-1a", "ml": "0.3",
                      "test": "d-dimer"})  # fmt: skip
    poured = last(morning, TUBE)
    assert isinstance(poured, Aliquoted)
    assert (poured.child, poured.volume_ul, poured.tests) == ("INV10-1a", 300, ("d-dimer",))
    confirmed(bench, {**opened(bench, TUBE, "reported"), "do": "reported", "test": "prothrombin-time", "ml": "0.1"})
    assert isinstance(last(morning, TUBE), Reported)
    happened = text_of(bench)
    assert "300 uL poured into INV10-1a processor at bench page" in happened
    assert "invented-" not in bench.text


def test_what_cannot_be_done_now_says_why(bench: Browser, morning: SpecimenRecord) -> None:
    said = text_of(bench.get(f"/bench/tube?specimen={SPUN}"))
    assert "Spun not now: cannot be spun: found a gel tube spun before" in said or "Spun not now: spun before" in said
    said = text_of(bench.get("/bench/tube?specimen=INV01-1"))
    assert "Result released not now:" in said
    assert "has no verdict" in said
    form = {"specimen": "INV01-1", "key": "k", "seen": "1", "do": "reported", "test": "potassium"}
    bench.post("/bench/did", form)
    assert bench.status == 422
    assert "no verdict" in text_of(bench)


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({"do": "discarded", "why": "theirs"}, "was stored at"),
        ({**RUN, "sure": "1"}, "was stored at"),
        ({"do": "stored", "storage": "ice"}, "was stored at"),
    ],
)
def test_of_two_browsers_with_one_tube_the_second_is_told_what_the_first_did(
    bench: Browser, demo_application: Starlette, morning: SpecimenRecord, form: dict[str, str], said: str
) -> None:
    other = Browser(demo_application)
    other.sign_in("supervisor")
    mine, theirs = opened(bench, TUBE, form["do"]), opened(other, TUBE, "stored")
    other.post("/bench/did", {**theirs, "do": "stored", "storage": "cold"})
    head = morning.head()
    bench.post("/bench/did", {**mine, **form})
    assert bench.status == 409
    assert f"supervisor at bench page was first: {TUBE} {said}" in text_of(bench)
    assert "Nothing of yours was recorded" in text_of(bench)
    assert morning.head() == head


@pytest.mark.parametrize("deed", ["spun", "discarded", "stored"])
def test_the_same_deed_of_two_browsers_is_written_once(
    bench: Browser, demo_application: Starlette, morning: SpecimenRecord, deed: str
) -> None:
    said = {"spun": RUN, "discarded": {"why": "old"}, "stored": {"storage": "cold"}}[deed]
    form = {**said, "do": deed, "sure": "1"}
    other = Browser(demo_application)
    other.sign_in("supervisor")
    mine, theirs = opened(bench, TUBE, deed), opened(other, TUBE, deed)
    assert other.post("/bench/did", {**theirs, **form}).status == 200
    assert bench.post("/bench/did", {**mine, **form}).status == 409
    did = {"spun": "spun", "discarded": "thrown away", "stored": "stored"}[deed]
    assert f"supervisor at bench page was first: {TUBE} was {did} at" in text_of(bench)
    assert len([x for x in morning.history(TUBE) if isinstance(x.content, Spun | Discarded | Stored)]) == 1


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({"do": "spun", "rcf_g": "1500", "minutes": "", "temp_c": "21"}, "expected force, time and temperature"),
        ({"do": "stored", "storage": "roof"}, "found no place"),
        ({"do": "discarded", "why": "  "}, "why it was thrown away"),
        ({"do": "poured", "into": "X", "ml": "400"}, "at most the"),
        ({"do": "poured", "into": "X", "ml": "lots"}, "ml"),
        ({"do": "discarded", "why": "x", "ago_min": "1441"}, "0 to 1440"),
        ({"do": "eaten"}, "found no deed"),
    ],
)
def test_what_is_not_said_or_cannot_be_is_refused_in_words(
    bench: Browser, morning: SpecimenRecord, form: dict[str, str], said: str
) -> None:
    hidden = opened(bench, TUBE, "discarded")
    head = morning.head()
    bench.post("/bench/did", {**hidden, **form})
    assert bench.status == 422
    assert said in text_of(bench)
    assert morning.head() == head


def test_a_deed_to_what_is_not_on_record_says_so_without_its_name(bench: Browser, morning: SpecimenRecord) -> None:
    bench.get("/bench")
    assert bench.post("/bench/did", {"specimen": "MRN-4711", "do": "discarded", "why": "x"}).status == 404
    assert "MRN-4711" not in bench.text

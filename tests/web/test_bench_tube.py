"""Receiving at the Bench page without a browser: the form, the verdicts, races, repeats, two people."""

from __future__ import annotations

import re
from concurrent.futures import ThreadPoolExecutor

import pytest
from starlette.applications import Starlette

from cubital.app.record import SpecimenRecord
from cubital.model.specimen import Judged, Received
from tests.web.conftest import WORDS, Browser
from tests.web.test_bench_page import PARTIAL, bench, demo_application, morning, text_of

__all__ = ["bench", "demo_application", "morning"]
TUBE = "INV01-1"
GOOD = {"identifiers": "2", "looked": "1", "labels": "one"}


def opened(browser: Browser, id: str = TUBE) -> dict[str, str]:
    """The hidden fields of the form of this tube."""
    browser.get(f"/bench/tube?specimen={id}")
    return dict(re.findall(r'name="(specimen|key|seen)" value="([^"]*)"', browser.text)[:3])


def events(record: SpecimenRecord, id: str = TUBE) -> list[str]:
    """What happened to this tube, by kinds."""
    return [type(entry.content).__name__ for entry in record.history(id)]


def test_a_good_tube_is_received_and_every_verdict_said(bench: Browser, morning: SpecimenRecord) -> None:
    form = opened(bench)
    bench.post("/bench/tube", {**form, **GOOD, "hemolysis": "0.55", "do": "record"})
    assert bench.path == "/bench/tube"
    said = text_of(bench)
    assert "received" in said
    assert "▲ with a comment potassium For the report: The specimen is hemolyzed" in said
    assert events(morning) == ["Collected", "Received", "Judged"]
    entry = morning.history(TUBE)[1].content
    assert isinstance(entry, Received)
    assert (entry.by, entry.station) == ("processor", "bench page")


def test_the_verdict_is_shown_while_the_form_is_filled_and_nothing_is_written(
    bench: Browser, morning: SpecimenRecord
) -> None:
    form = opened(bench)
    before = morning.head()
    bench.post("/bench/tube", {**form, **GOOD, "fault": "leaked"}, **PARTIAL)
    assert "<html" not in bench.text
    assert "If recorded now: 3 with a comment" in text_of(bench)
    bench.post("/bench/tube", {**form, **GOOD, "fill": "lots"}, **PARTIAL)
    assert "fill" in text_of(bench)
    assert bench.status == 200
    assert morning.head() == before


def test_what_is_not_known_of_an_index_is_said_once_before_and_after_it_is_recorded(
    bench: Browser, morning: SpecimenRecord
) -> None:
    form = opened(bench)
    words = "no limit is known: lipemia 3."
    bench.post("/bench/tube", {**form, **GOOD, "lipemia": "3"}, **PARTIAL)
    assert text_of(bench).count(words) == 1
    assert "If recorded now: 3 with a comment" in text_of(bench)
    bench.post("/bench/tube", {**form, **GOOD, "lipemia": "3", "do": "record"})
    assert text_of(bench).count(words) == 1
    assert events(morning) == ["Collected", "Received", "Judged"]


def test_a_refusal_is_recorded_only_after_it_was_shown(bench: Browser, morning: SpecimenRecord) -> None:
    form = {**opened(bench), **GOOD, "fault": "clotted", "do": "record"}
    bench.post("/bench/tube", form)
    assert events(morning) == ["Collected"]
    assert "If recorded now: 3 refused" in text_of(bench)
    shown = re.search(r'name="shown" value="([0-9a-f]+)"', bench.text)
    assert shown is not None
    bench.post("/bench/tube", {**form, "fault": "leaked", "shown": shown[1]})
    # Other verdicts than those shown, but none of them refuses.
    assert events(morning) == ["Collected", "Received", "Judged"]
    form = {**opened(bench, "INV02-1"), **GOOD, "fault": "clotted", "do": "record"}
    bench.post("/bench/tube", form)
    shown = re.search(r'name="shown" value="([0-9a-f]+)"', bench.text)
    assert shown is not None
    bench.post("/bench/tube", {**form, "shown": shown[1]})
    assert events(morning, "INV02-1") == ["Collected", "Received", "Judged"]


def test_the_same_form_sent_twice_receives_once(bench: Browser, morning: SpecimenRecord) -> None:
    form = {**opened(bench), **GOOD, "do": "record"}
    first = bench.post("/bench/tube", form)
    assert first.status == 200
    again = bench.post("/bench/tube", form)
    assert (again.status, again.path) == (200, "/bench/tube")
    assert events(morning) == ["Collected", "Received", "Judged"]


def test_the_same_form_sent_many_times_at_one_moment_receives_once(
    bench: Browser, morning: SpecimenRecord
) -> None:
    form = {"token": bench.token, **opened(bench), **GOOD, "do": "record"}
    with ThreadPoolExecutor(6) as pool:
        answers = list(
            pool.map(lambda _: bench.client.post("/bench/tube", data=form, follow_redirects=False), range(6))
        )
    assert [answer.status_code for answer in answers] == [303] * 6
    assert events(morning) == ["Collected", "Received", "Judged"]


def test_of_two_stations_with_one_tube_open_the_second_is_told_who_was_first(
    bench: Browser, demo_application: Starlette, morning: SpecimenRecord
) -> None:
    other = Browser(demo_application)
    other.sign_in("supervisor")
    mine, theirs = opened(bench), opened(other)
    assert mine["key"] != theirs["key"]
    other.post("/bench/tube", {**theirs, **GOOD, "do": "record"})
    bench.post("/bench/tube", {**mine, **GOOD, "do": "record"})
    assert bench.status == 409
    assert "supervisor at bench page was first: INV01-1 was received" in text_of(bench)
    assert "Nothing of yours was recorded" in text_of(bench)
    assert events(morning) == ["Collected", "Received", "Judged"]


@pytest.mark.parametrize(
    ("seen", "said"),
    [
        ({"identifiers": "1"}, "The label does not show whose specimen this is"),
        ({"identifiers": "2", "differ": "1"}, "The label differs from the order"),
        ({"identifiers": "2", "labels": "differ"}, "2 labels, which differ"),
    ],
)
def test_a_fault_of_identity_refuses_all_and_says_that_nobody_may_accept_it(
    bench: Browser, morning: SpecimenRecord, seen: dict[str, str], said: str
) -> None:
    bench.post("/bench/tube", {**opened(bench), **GOOD, **seen}, **PARTIAL)
    words = text_of(bench)
    assert "If recorded now: 3 refused" in words
    assert said in words
    assert words.count("nobody may accept it") == 3


def test_two_labels_that_agree_are_a_comment(bench: Browser, morning: SpecimenRecord) -> None:
    bench.post("/bench/tube", {**opened(bench), **GOOD, "labels": "agree"}, **PARTIAL)
    assert "If recorded now: 3 with a comment" in text_of(bench)
    assert "both were read and agree" in text_of(bench)


def test_a_label_that_nobody_compared_is_never_recorded(bench: Browser, morning: SpecimenRecord) -> None:
    form = {**opened(bench), "looked": "1", "do": "record"}
    bench.post("/bench/tube", form)
    shown = re.search(r'name="shown" value="([0-9a-f]+)"', bench.text)
    bench.post("/bench/tube", {**form, "shown": shown[1] if shown else ""})
    assert bench.status == 422
    assert "compared" in text_of(bench)
    assert events(morning) == ["Collected"]


IRREPLACEABLE = "INV09-2"


def test_what_cannot_be_drawn_again_is_accepted_by_two_people_with_a_reason(
    bench: Browser, morning: SpecimenRecord
) -> None:
    form = {**opened(bench, IRREPLACEABLE), **GOOD, "fault": "expired", "do": "record", "why": "newborn, one vein"}
    assert "Cannot be drawn again:" in text_of(bench)
    for second, words, said in (
        ("supervisor", "not the words", "no such name with this password"),
        ("processor", WORDS, "two different ones"),
        ("collector", WORDS, "may not decide"),
    ):
        bench.post("/bench/tube", {**form, "second": second, "second_password": words})
        assert bench.status == 422, second
        assert said in text_of(bench), second
        assert words not in bench.text
    assert events(morning, IRREPLACEABLE) == ["Collected"]
    bench.post("/bench/tube", {**form, "second": "supervisor", "second_password": WORDS})
    assert bench.status == 200
    judged = morning.history(IRREPLACEABLE)[-1].content
    assert isinstance(judged, Judged)
    assert judged.second == "supervisor"
    assert all(verdict.outcome == "comment" for verdict in judged.verdicts)
    assert "processor and supervisor: newborn, one vein" in text_of(bench)


def test_no_exception_is_made_for_a_fault_of_identity(bench: Browser, morning: SpecimenRecord) -> None:
    form = {**opened(bench, IRREPLACEABLE), **GOOD, "labels": "differ", "do": "record", "why": "newborn"}
    bench.post("/bench/tube", {**form, "second": "supervisor", "second_password": WORDS})
    assert bench.status == 422
    assert "no exception is made" in text_of(bench)
    assert events(morning, IRREPLACEABLE) == ["Collected"]


def test_what_is_not_on_record_is_said_so_and_said_again_nowhere(
    bench: Browser, demo_application: Starlette, morning: SpecimenRecord, caplog: pytest.LogCaptureFixture
) -> None:
    # It may be a patient's number, typed into the wrong field or into the address by hand.
    bench.get("/bench/tube?specimen=MRN-4711")
    assert bench.status == 404
    assert "That is not on record" in text_of(bench)
    assert "MRN-4711" not in bench.text
    assert bench.post("/bench/tube", {"specimen": "MRN-4711", "do": "record"}).status == 404
    assert "MRN-4711" not in bench.text
    assert bench.get(f"/bench/tube?specimen={TUBE}&left=MRN-4711").status == 200
    assert "MRN-4711" not in bench.text
    bench.get("/bench/add?specimen=MRN-4711")
    assert "MRN-4711" not in bench.text
    other = Browser(demo_application)
    other.sign_in("supervisor")
    other.get("/trail")
    assert "MRN-4711" not in other.text
    assert "MRN-4711" not in caplog.text


def test_only_a_known_specimen_goes_from_a_scan_into_an_address(bench: Browser, morning: SpecimenRecord) -> None:
    bench.get("/bench")
    assert '<form class="scan" method="post" action="/bench/scan"' in bench.text

    def scanned(specimen: str, left: str = "", token: str = bench.token) -> tuple[int, str, str]:
        form = {"token": token, "specimen": specimen, "left": left}
        answer = bench.client.post("/bench/scan", data=form, follow_redirects=False)
        return answer.status_code, answer.headers.get("location", ""), answer.text

    assert scanned(f" {TUBE} ")[:2] == (303, f"/bench/tube?specimen={TUBE}")
    assert scanned("INV02-1", TUBE)[:2] == (303, f"/bench/tube?specimen=INV02-1&left={TUBE}")
    assert scanned("INV02-1", "wristband-77")[:2] == (303, "/bench/tube?specimen=INV02-1")
    for other in ("wristband-77", ""):
        status, address, said = scanned(other, TUBE)
        assert (status, address) == (404, "")
        assert "What was scanned is no specimen known here." in said
        assert "wristband-77" not in said
    assert scanned(TUBE, token="0" * 64)[0] == 403


def test_two_scans_without_a_record_between_are_asked_for_one_tube_or_two(
    bench: Browser, morning: SpecimenRecord
) -> None:
    bench.get("/bench/tube?specimen=INV02-1&left=INV01-1")
    assert "INV01-1 was left open: nothing of it was recorded" in text_of(bench)
    assert "Two scans: two tubes, or one with two labels?" in text_of(bench)
    assert 'name="identifiers"' not in bench.text
    assert 'href="/bench/tube?specimen=INV02-1"' in bench.text
    assert 'href="/bench/tube?specimen=INV02-1&amp;pair=INV01-1"' in bench.text
    bench.get("/bench/tube?specimen=INV02-1&left=INV02-1")
    assert "was left open" not in bench.text


def test_one_tube_with_two_labels_refuses_both_one_after_the_other_and_accepts_neither(
    bench: Browser, morning: SpecimenRecord
) -> None:
    bench.get("/bench/tube?specimen=INV02-1&pair=INV01-1")
    for id, other in (("INV02-1", "INV01-1"), ("INV01-1", "INV02-1")):
        said = text_of(bench)
        assert f"Two labels on one tube: {other} and {id}" in said
        assert 'name="labels" value="differ" checked' in bench.text
        form = dict(re.findall(r'name="(specimen|key|seen|pair)" value="([^"]*)"', bench.text)[:4])
        assert (form["specimen"], form["pair"]) == (id, other)
        form |= {"identifiers": "2", "looked": "1", "labels": "differ", "do": "record"}
        bench.post("/bench/tube", form)
        assert "2 labels, which differ" in text_of(bench)
        assert "accepted" not in text_of(bench)
        shown = re.search(r'name="shown" value="([0-9a-f]+)"', bench.text)
        assert shown is not None
        bench.post("/bench/tube", {**form, "shown": shown[1]})
        judged = morning.history(id)[-1].content
        assert isinstance(judged, Judged)
        assert {verdict.outcome for verdict in judged.verdicts} == {"refuse"}
    assert "Two labels on one tube" not in text_of(bench)
    assert bench.get("/bench/tube?specimen=INV02-1&pair=MRN-4711").status == 200
    assert "MRN-4711" not in bench.text
    assert "Two labels on one tube" not in text_of(bench)


def test_no_patient_is_named_and_the_trail_holds_the_tube_alone(
    bench: Browser, demo_application: Starlette, morning: SpecimenRecord
) -> None:
    form = opened(bench)
    bench.post("/bench/tube", {**form, **GOOD, "do": "record"})
    assert "invented-" not in bench.text
    other = Browser(demo_application)
    other.sign_in("supervisor")
    other.get("/trail")
    assert "opened a tube" in other.text
    assert TUBE in other.text
    assert "invented-" not in other.text


def test_receiving_needs_the_token_of_the_session(bench: Browser, morning: SpecimenRecord) -> None:
    form = opened(bench)
    assert bench.post("/bench/tube", {**form, **GOOD, "do": "record", "token": "0" * 64}).status == 403
    assert events(morning) == ["Collected"]


def test_the_tube_s_page_says_what_is_due_as_its_line_on_the_board_does(
    bench: Browser, morning: SpecimenRecord
) -> None:
    late = r"■ \d+ min late"
    assert re.search(late, text_of(bench.get("/bench")))
    page = text_of(bench.get("/bench/tube?specimen=INV05-1"))
    head = page.partition("What was decided")[0]
    assert re.search(f"{late} : spin 1300-2000 g, 10 min, 20-25 C, begin by", head)
    assert "Recorded so far: 3 things, the last: judged: 4 verdicts, 0 refused" in page

"""The Draw page without a browser: what it takes, what it shows, what it refuses."""

from __future__ import annotations

import datetime
import html
import re

import pytest
from msgspec.structs import replace

from cubital.app.accounts import Accounts
from cubital.app.draws import plan_order
from cubital.app.record import SpecimenRecord
from cubital.app.site_editing import SiteVersions
from cubital.app.taking import Takings
from cubital.app.wiring import order_of_words
from cubital.facts import Cap, SamplingLimit
from cubital.model import Site
from cubital.model.record import Step
from cubital.model.specimen import Collected
from cubital.web.application import make_application
from cubital.web.desk import Desk
from tests.web.conftest import TODAY, Browser

PARTIAL = {"hx-request": "true"}


def text_of(browser: Browser) -> str:
    """The words of the page, one space between."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", browser.text)).split())


def test_the_tubes_stand_in_the_order_of_the_plan_with_their_words(collector: Browser, demo: Site) -> None:
    collector.post("/draw", {"tests": "K, PT; CBC\nlactate", "access": "winged-set"})
    order = order_of_words({"tests": ["K", "PT", "CBC", "lactate"], "access": "winged-set"}, where="test", today=TODAY)
    plan = plan_order(order, demo, today=TODAY)
    kinds = [html.unescape(found) for found in re.findall(r'<span class="kind"><b>(.*?)</b>', collector.text)]
    assert kinds == [tube.name for tube in plan.tubes]
    assert len(re.findall('<svg class="tube"', collector.text)) == len(plan.tubes)
    said = text_of(collector)
    for tube in plan.tubes:
        assert tube.stopper is None or tube.stopper in said
        assert tube.inversions is None or f"invert {tube.inversions}x" in said


def test_what_is_left_out_stands_before_what_is_to_be_watched_and_every_note_says_what_it_rests_on(
    collector: Browser,
) -> None:
    collector.post(
        "/draw",
        {"tests": "K\nCBC\nPT\nCRP", "age": "6", "age_unit": "mo", "weight_kg": "6", "drawn_ml": "8"},
        **PARTIAL,
    )
    said = text_of(collector)
    assert said.index("STOP") < said.index("LEFT OUT") < said.index("Watch")
    notes = collector.text.partition('aria-label="Notes"')[2].partition("</section>")[0]
    rests = re.findall(r'<p class="rests">(.*?)</p>', notes)
    assert rests
    assert all(rests)


def test_every_fact_of_the_patient_reaches_the_plan(collector: Browser) -> None:
    collector.post(
        "/draw",
        {
            "tests": "PT\nCBC", "age": "61", "age_unit": "a", "sex": "female", "weight_kg": "70.5", "height_cm": "165",
            "hematocrit": "0.60", "drawn_ml": "12", "flag": ["anticoagulated", "latex-allergy"],
            "access": "straight-needle", "objective": "least-blood", "stat": "1",
        },
    )  # fmt: skip
    said = text_of(collector)
    assert "61 a, female, 70.5 kg" in said
    assert "press until bleeding stops" in said
    assert "latex-free gloves" in said
    assert "Hematocrit above 0.55" in said
    assert "12 mL drawn before" in said
    assert "less blood, then fewer tubes" in said


def test_a_line_is_asked_for_its_dead_space_and_what_it_carried(collector: Browser) -> None:
    collector.post("/draw", {"tests": "PT", "access": "line", "dead_space_ml": "1", "carried": "yes"})
    assert "Discard" in collector.text
    assert "found it with access" not in collector.text
    collector.post("/draw", {"tests": "PT", "access": "winged-set", "dead_space_ml": "1", "carried": "yes"})
    assert 'aria-label="Refusal"' not in collector.text


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({"weight_kg": "7O"}, "weight kg: found '7O'; expected a number"),
        ({"weight_kg": "70,5"}, "expected a number"),
        ({"weight_kg": "1e9"}, "expected"),
        ({"weight_kg": "nan"}, "expected a number"),
        ({"age": "200"}, "at most 130 years"),
        ({"age": "4", "weight_kg": "4000"}, "kilograms"),
        ({"hematocrit": "45"}, "write 0.45"),
        ({"sex": "both"}, "expected one of female, male"),
        ({"access": "vein"}, "expected one of straight-needle"),
        ({"flag": "unheard-of"}, "unheard-of"),
    ],
)
def test_what_cannot_be_is_refused_or_warned_of_in_words(collector: Browser, form: dict[str, str], said: str) -> None:
    collector.post("/draw", {"tests": "K", **form}, **PARTIAL)
    assert collector.status == 200
    assert said in text_of(collector)


@pytest.mark.parametrize(
    ("line", "said", "offer"),
    [
        ("potasium", "no test or panel of this site goes by this name", "potassium"),
        ("blood gas", "stands for several tests", "blood gas, arterial"),
        ("UA", "also stands for a test not of blood", "urate (uric acid)"),
        ("urine culture", "asks for", None),
        ("2823-4", "no test or panel", None),
    ],
)
def test_a_line_in_doubt_is_left_out_aloud_and_near_ones_are_offered(
    collector: Browser, line: str, said: str, offer: str | None
) -> None:
    collector.post("/draw", {"tests": f"CBC\n{line}"})
    assert "Not in the plan: 1 line" in text_of(collector)
    assert said in text_of(collector)
    assert "complete blood count" in collector.text
    offers = [html.unescape(found) for found in re.findall(r'name="instead" value="[^"]*">([^<]*)<', collector.text)]
    if offer is None:
        assert offers == []
    else:
        assert offer in offers
        collector.post("/draw", {"tests": f"CBC\n{line}", "instead": "CBC\npotassium"})
        assert "Not in the plan" not in collector.text


def test_what_was_sent_stays_in_the_form(collector: Browser) -> None:
    collector.post("/draw", {"tests": "K", "age": "61", "sex": "female", "flag": "latex-allergy", "access": "syringe"})
    assert '<textarea id="tests"' in collector.text
    assert ">K</textarea>" in collector.text
    assert 'value="61"' in collector.text
    assert re.search(r'value="syringe" id="access-syringe" checked', collector.text)
    assert re.search(r'value="latex-allergy" checked', collector.text)


def test_only_the_answer_is_sent_where_only_it_was_asked(collector: Browser) -> None:
    collector.post("/draw", {"tests": "K"}, **PARTIAL)
    assert "<html" not in collector.text
    assert 'id="said"' in collector.text
    assert 'id="tests"' not in collector.text
    collector.post("/draw", {"tests": "potasium", "instead": "potassium"}, **PARTIAL)
    assert ">potassium</textarea>" in collector.text


def test_a_refusal_of_a_part_is_a_part_and_names_no_draw(collector: Browser) -> None:
    collector.post("/draw", {"tests": "K", "token": "0" * 64}, **PARTIAL)
    assert collector.status == 403
    assert "<html" not in collector.text
    assert "No draw is shown" in collector.text


def test_a_session_that_ended_sends_the_browser_to_sign_in(collector: Browser) -> None:
    token = collector.token
    del collector.client.cookies["cubital"]
    collector.get("/sign-in")
    answer = collector.client.post("/draw", data={"token": collector.token, "tests": "K"}, headers=PARTIAL)
    assert token != collector.token
    assert (answer.status_code, answer.headers["hx-redirect"]) == (204, "/sign-in")


def test_nothing_typed_is_no_refusal(collector: Browser) -> None:
    collector.post("/draw", {"tests": " \n , \n"}, **PARTIAL)
    assert 'aria-label="Refusal"' not in collector.text
    assert "Type a test" in collector.text


def test_more_tests_than_an_order_holds_are_refused(collector: Browser) -> None:
    collector.post("/draw", {"tests": "\n".join(f"name {number}" for number in range(251))}, **PARTIAL)
    assert "found 251 lines; expected at most 250" in text_of(collector)


def test_the_gauge_never_says_less_than_is_drawn() -> None:
    from cubital.app.tray import Gauge
    from cubital.web.draw_page import gauge_of

    full = gauge_of(Gauge(drawn_ul=9000, this_ul=1000, limit_ul=10_000))
    assert (full.before, full.this, full.percent) == (90, 10, 100)
    trace = gauge_of(Gauge(drawn_ul=0, this_ul=1, limit_ul=1_000_000))
    assert (trace.this, trace.percent) == (0.6, 1)
    assert "of a limit of 102.4 mL" in gauge_of(Gauge(drawn_ul=0, this_ul=1, limit_ul=102_463)).words


def test_a_program_of_the_site_s_own_limits_is_offered_as_a_flag_and_its_limit_holds(
    accounts: Accounts, record: SpecimenRecord, demo: Site
) -> None:
    caps = (Cap(period_h=24, cap_ul=1300),)
    study = SamplingLimit(key="study", name="iron study", for_whom="its patients", program="iron-study", caps=caps)
    site = replace(demo, limits={"study": study})
    browser = Browser(make_application(Desk(site, accounts, record=record, today=lambda: TODAY)))
    browser.sign_in("collector")
    assert 'value="iron-study"' in browser.text
    browser.post("/draw", {"tests": "CBC", "age": "40", "weight_kg": "70", "flag": ["iron-study"]}, **PARTIAL)
    assert "limit of 1.3 mL" in text_of(browser)


def kept_tube(record: SpecimenRecord, draw_ul: int) -> None:
    """One tube of an invented patient, drawn on the day of these tests."""
    event = Collected(
        key="INV-1/collected", specimen="INV-1", at=datetime.datetime(2026, 11, 25, 6, tzinfo=datetime.UTC),
        by="collector", station="ward", patient="invented-7", kind="edta", additive="k2-edta", gel=False,
        matrix="whole-blood", draw_ul=draw_ul, usable_ul=draw_ul, tests=("complete-blood-count",),
    )  # fmt: skip
    record.append(Step(event=event, expected=0))


FORM = {"tests": "K", "age": "2", "age_unit": "a", "weight_kg": "10"}


def test_an_earlier_tube_of_the_patient_brings_the_blood_on_record_and_nothing_of_whose_it_is(
    collector: Browser, record: SpecimenRecord
) -> None:
    kept_tube(record, 16_000)
    collector.post("/draw", {**FORM, "earlier": " INV-1 "})
    assert "16 mL drawn before" in text_of(collector)
    assert "by the record of specimens" in text_of(collector)
    assert "invented-7" not in collector.text
    assert 'name="earlier" maxlength="200" value=" INV-1 "' in collector.text
    collector.post("/draw", {**FORM, "earlier": "INV-1", "drawn_ml": "3"}, **PARTIAL)
    assert "3 mL as it was said, which is taken; 16 mL in the last 24 h by the record" in text_of(collector)


def test_what_is_no_tube_on_record_is_refused_and_not_said_again(collector: Browser, record: SpecimenRecord) -> None:
    kept_tube(record, 16_000)
    collector.post("/draw", {**FORM, "earlier": "invented-7"})
    assert "found no such tube on record" in text_of(collector)
    assert "invented-7" not in collector.text


def test_those_who_learn_are_shown_nothing_of_the_record(browser: Browser, record: SpecimenRecord) -> None:
    kept_tube(record, 16_000)
    browser.sign_in("student")
    assert 'name="earlier"' not in browser.text
    browser.post("/draw", {**FORM, "earlier": "INV-1"}, **PARTIAL)
    assert "16 mL" not in text_of(browser)
    assert "limit of 17.5 mL" in text_of(browser)


def test_a_draw_is_taken_in_hand_with_the_blood_on_record(
    collector: Browser, record: SpecimenRecord, takings: Takings
) -> None:
    kept_tube(record, 15_000)
    collector.post("/draw", {**FORM, "earlier": "INV-1"})
    key = re.search(r'name="key" value="([^"]+)"', collector.text)
    assert key is not None
    collector.post("/take", {**FORM, "earlier": "INV-1", "key": key[1]})
    ((taking, _),) = takings.waiting()
    assert taking.order.patient.drawn_ul == taking.plan.totals.already_drawn_ul == 15_000


def links_of(browser: Browser) -> list[str]:
    """Where the page leads to add a word to the site."""
    return [html.unescape(found) for found in re.findall(r'<a href="(/site/[^"]*(?:name|also)=[^"]*)"', browser.text)]


def test_who_may_edit_the_site_adds_an_unknown_word_where_it_was_met(browser: Browser, sites: SiteVersions) -> None:
    supervisor = browser.sign_in("supervisor")
    supervisor.post("/draw", {"tests": "K\nfactor VIII activities"}, **PARTIAL)
    add, *_ = links_of(supervisor)
    assert add == "/site/test?new=1&name=factor%20VIII%20activities"
    supervisor.get(add)
    assert 'name="key" value="factor-viii-activities"' in supervisor.text
    assert 'name="name" value="factor VIII activities"' in supervisor.text
    assert "stops" in supervisor.text
    form = {
        "new": "1", "key": "factor-viii-activities", "base": "0", "name": "factor VIII activities",
        "bench": "special chemistry",
        "accepts.0.matrix": "plasma", "accepts.0.tubes": "edta", "accepts.0.volume_ul": "300",
        "accepts.0.minimum_ul": "200",
    }  # fmt: skip
    supervisor.post("/site/test/change", {**form, "do": "save", "note": "asked from the ward"})
    assert "this site's own file" in html.unescape(supervisor.get("/site/test?key=factor-viii-activities").text)
    supervisor.post("/draw", {"tests": "K\nfactor VIII activities"}, **PARTIAL)
    assert "Not in the plan" not in supervisor.text
    assert "factor VIII activities" in supervisor.text


def test_a_word_becomes_another_name_of_a_test_after_a_look_and_a_save(browser: Browser, sites: SiteVersions) -> None:
    supervisor = browser.sign_in("supervisor")
    supervisor.post("/draw", {"tests": "factor VIII activities"}, **PARTIAL)
    link = next(link for link in links_of(supervisor) if "key=factor-viii" in link)
    assert link == "/site/test?key=factor-viii&also=factor%20VIII%20activities"
    supervisor.get(link)
    also = html.unescape(re.search(r'<textarea id="f-also"[^>]*>(.*?)</textarea>', supervisor.text, re.S)[1])  # type: ignore[index]
    assert also.splitlines()[-1] == "factor VIII activities"
    assert "What you change" in supervisor.text
    assert "factor VIII activities" not in sites.newest().site.tests["factor-viii"].also
    assert 'name="also"' in supervisor.get("/site/panel?key=lipid-panel&also=blood%20fats").text
    assert "blood fats" in supervisor.text


def test_who_may_not_edit_the_site_is_led_to_no_form(collector: Browser) -> None:
    collector.post("/draw", {"tests": "factor VIII activities\nurine culture\ntroponin"}, **PARTIAL)
    assert links_of(collector) == []


def test_only_a_name_that_nobody_knows_is_offered_to_be_added(browser: Browser) -> None:
    supervisor = browser.sign_in("supervisor")
    supervisor.post("/draw", {"tests": "urine culture\ntroponin\nUA"}, **PARTIAL)
    assert links_of(supervisor) == []


@pytest.mark.parametrize("name", ["%3Cscript%3Ealert(1)%3C/script%3E", "%25", "potassium", "x" * 500])
def test_whatever_word_is_brought_along_the_form_opens_and_says_it_as_text(browser: Browser, name: str) -> None:
    supervisor = browser.sign_in("supervisor")
    supervisor.get(f"/site/test?new=1&name={name}")
    assert supervisor.status == 200
    assert "<script>alert" not in supervisor.text
    assert supervisor.get(f"/site/test?key=potassium&also={name}").status == 200
    assert "<script>alert" not in supervisor.text
    assert supervisor.get(f"/site/test?key=no-such-test&also={name}").status == 404

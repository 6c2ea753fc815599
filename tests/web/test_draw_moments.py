"""When and where, on the Draw page: times that are offered and typed, the place, and what a collector keeps instead."""

from __future__ import annotations

import html
import json
import re

import pytest

from cubital.app.draws import plan_order
from cubital.app.record import SpecimenRecord
from cubital.app.taking import Takings
from cubital.app.tray import lay_tray
from cubital.app.wiring import plan_document
from cubital.exchange.order_file import order_from_json
from cubital.model import Order, Plan, Site
from cubital.units import millilitres_text
from tests.web.conftest import TODAY, Browser
from tests.web.test_draw_page import FORM, PARTIAL, kept_tube, text_of

LEVELS = "vancomycin-trough\nvancomycin-peak"
CHILD = {"age": "6", "age_unit": "mo", "weight_kg": "6", "drawn_ml": "8"}
SHORT = {**CHILD, "tests": "K\nCBC\nPT\nCRP\ntype and screen"}


Form = dict[str, str | list[str]]


def event(*rows: tuple[str, str, str, str]) -> Form:
    """Rows of the form: what, of what, on which day, when."""
    names = ("event_what", "event_of", "event_day", "event_at")
    return dict(zip(names, (list(column) for column in zip(*rows, strict=True)), strict=True))


def dose(at: str, day: str = "0") -> Form:
    return event(("next-dose", "vancomycin", day, at))


def times_of(browser: Browser) -> str:
    """The part of the form that asks for times; empty where none was sent."""
    found = re.search(r'<details id="times".*?\n</details>', browser.text, re.DOTALL)
    return "" if found is None else found[0]


def offers_of(browser: Browser) -> list[tuple[str, str]]:
    """What each button that keeps a test keeps, and what the page says that it costs."""
    found = re.findall(r'name="keep_too" value="([^"]+)">[^<]*</button> <span>([^<]*)</span>', browser.text)
    return [(html.unescape(keep), html.unescape(costs)) for keep, costs in found]


def hidden_of(browser: Browser, form: str) -> dict[str, list[str]]:
    """What the hidden fields of this form send."""
    part = browser.text.partition(f'action="{form}"')[2].partition("</form>")[0]
    sent: dict[str, list[str]] = {}
    for name, value in re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)">', part):
        sent.setdefault(name, []).append(html.unescape(value))
    return sent


def test_a_test_of_a_level_opens_the_times_and_asks_for_those_it_is_counted_from(collector: Browser) -> None:
    collector.post("/draw", {"tests": LEVELS})
    times = times_of(collector)
    assert times.startswith('<details id="times" class="more times" open>')
    assert re.findall(r'<label for="event-\d">(.*?)</label>', times) == [
        "the next dose of vancomycin", "the end of the infusion of vancomycin",
    ]  # fmt: skip
    collector.post("/draw", {"tests": "CBC"})
    assert times_of(collector).startswith('<details id="times" class="more times">')
    assert "event-1" not in times_of(collector)


def test_the_times_are_sent_anew_only_where_other_ones_are_to_be_offered(collector: Browser) -> None:
    collector.post("/draw", {"tests": LEVELS, "offered": ""}, **PARTIAL)
    assert 'id="times"' in collector.text
    assert 'hx-swap-oob="true"' in times_of(collector)
    offered = re.search(r'name="offered" value="([^"]*)"', collector.text)
    assert offered is not None
    for form in ({}, dose("7"), {"weight_kg": "7O"}, {"place": "nowhere"}):
        collector.post("/draw", {"tests": LEVELS, "offered": offered[1], **form}, **PARTIAL)
        assert 'id="times"' not in collector.text, form
    collector.post("/draw", {"tests": "CBC", "offered": offered[1], **dose("14:00")}, **PARTIAL)
    assert 'value="14:00"' in times_of(collector)


@pytest.mark.parametrize(
    ("at", "day", "said"),
    [
        ("14:00", "0", "2026-11-25, 13:30 to 14:00"),
        ("1400", "0", "2026-11-25, 13:30 to 14:00"),
        ("9.05", "0", "2026-11-25, 08:35 to 09:05"),
        ("905", "0", "2026-11-25, 08:35 to 09:05"),
        ("06:00", "1", "2026-11-26, 05:30 to 06:00"),
        ("23:40", "-1", "2026-11-24, 23:10 to 23:40"),
        ("2026-11-27 08:00", "0", "2026-11-27, 07:30 to 08:00"),
    ],
)
def test_a_time_is_taken_as_it_is_typed_and_the_draw_says_between_which_times_it_is_due(
    collector: Browser, at: str, day: str, said: str
) -> None:
    collector.post("/draw", {"tests": "vancomycin-trough", **dose(at, day)}, **PARTIAL)
    assert said in text_of(collector)
    assert "time of the next dose" not in text_of(collector)


def test_a_day_before_counts_from_the_day_that_the_plan_is_for(collector: Browser) -> None:
    form: Form = {"tests": "digoxin", "now": "2026-11-27 10:00", **event(("dose", "digoxin", "-1", "2200"))}
    collector.post("/draw", form, **PARTIAL)
    assert "from 2026-11-27 04:00" in text_of(collector)


@pytest.mark.parametrize(
    ("form", "said"),
    [
        (dose("25:00"), "found '2026-11-25 25:00'; expected a local time"),
        (dose("noon"), "found 'noon'; expected a local time"),
        (dose("14:00", "7"), "found the day '7'; expected one of 0, -1, 1"),
        (event(("", "", "0", "14:00")), "events[0].what: found nothing; expected what happened"),
        (event(("dose", "unheard-of", "0", "08:00")), "expected a drug, drink or procedure"),
        ({"now": "1200", **dose("08:00")}, "which is past at 2026-11-25"),
        ({"now": "noon"}, "found 'noon'; expected a local time"),
        ({"place": "the moon"}, "found the place 'the moon'"),
    ],
)
def test_a_time_or_place_that_cannot_be_is_refused_in_words_and_stays_in_the_form(
    collector: Browser, form: Form, said: str
) -> None:
    collector.post("/draw", {"tests": "vancomycin-trough", **form})
    assert 'aria-label="Refusal"' in collector.text
    assert said in text_of(collector)
    for at in form.get("event_at", ()):
        assert f'name="event_at" value="{at}"' in collector.text


def test_an_event_that_was_chosen_without_a_time_is_not_known_and_refuses_nothing(collector: Browser) -> None:
    collector.post("/draw", {"tests": "vancomycin-trough", **event(("dose", "vancomycin", "0", " "))}, **PARTIAL)
    assert 'aria-label="Refusal"' not in collector.text
    assert "time of the next dose of vancomycin" in text_of(collector)


def test_the_plan_of_the_page_is_that_of_the_order_with_its_times_and_place(collector: Browser, demo: Site) -> None:
    rows = [("next-dose", "vancomycin", "0", "1400"), ("infusion-end", "", "0", "15:10"), ("", "", "0", "")]
    form: Form = {"tests": f"{LEVELS}\nC-peptide", "now": "0740", "place": "home visit", **event(*rows)}
    collector.post("/draw", form)
    order = order_from_json(
        {
            "tests": ["vancomycin-trough", "vancomycin-peak", "C-peptide"], "now": "07:40", "place": "home visit",
            "events": [
                {"what": "next-dose", "of": "vancomycin", "at": "14:00"}, {"what": "infusion-end", "at": "15:10"},
            ],
        },
        today=TODAY, zone=demo.time_zone,
    )  # fmt: skip
    plan = plan_order(order, demo, today=TODAY)
    said = text_of(collector)
    assert plan.draws[0].due_to is not None
    for draw in lay_tray(plan, order, demo).draws:
        for text in (draw.title, *(one.text for one in draw.before)):
            assert text in said, text
    kinds = [html.unescape(found) for found in re.findall(r'<span class="kind"><b>(.*?)</b>', collector.text)]
    assert kinds == [tube.name for tube in plan.tubes]
    assert '<option value="home visit" selected>home visit, 120 min</option>' in collector.text


def test_what_is_asked_leads_to_the_field_where_it_is_said(collector: Browser) -> None:
    collector.post("/draw", {"tests": LEVELS})
    assert re.findall(r'<a href="#(event-\d)">say when', collector.text) == ["event-1", "event-2"]
    assert 'id="event-2"' in times_of(collector)


def test_every_offer_keeps_what_it_says_at_the_cost_it_says_and_there_is_a_way_back(
    collector: Browser, demo: Site
) -> None:
    collector.post("/draw", SHORT)
    before, offers = text_of(collector), offers_of(collector)
    assert len(offers) > 1
    for keep, costs in offers:
        collector.post("/draw", {**SHORT, "keep_too": keep})
        plan = planned(SHORT, [keep], demo)
        assert keep not in {left.test for left in plan.unplaced}
        left = " · ".join(demo.tests[one.test].name for one in plan.unplaced)
        tubes = f"{plan.totals.tubes} tube{'' if plan.totals.tubes == 1 else 's'}"
        blood = millilitres_text(plan.totals.all_blood_ul)
        assert costs == f"leaves out {left}; {tubes}, {blood} mL of blood"
        said = text_of(collector)
        assert f"Kept by you: {demo.tests[keep].name}" in said
        assert f"{blood} mL of blood" in said
        assert f'<input type="hidden" name="keep" value="{keep}">' in collector.text
        collector.post("/draw", {**SHORT, "keep": keep, "let_go": keep})
        assert text_of(collector) == before


def planned(form: dict[str, str], keep: list[str], demo: Site) -> Plan:
    order = order_from_json(
        {
            "tests": form["tests"].split("\n"), "keep": keep,
            "patient": {"age": "6 mo", "weight_kg": 6, "drawn_ml": 8},
        },
        today=TODAY,
    )  # fmt: skip
    return plan_order(order, demo, today=TODAY)


def test_a_kept_test_that_is_not_asked_any_more_is_let_go(collector: Browser) -> None:
    collector.post("/draw", {**SHORT, "keep": "prothrombin-time"})
    assert "Kept by you" in text_of(collector)
    collector.post("/draw", {**SHORT, "tests": "K\nCBC", "keep": "prothrombin-time"})
    assert 'aria-label="Refusal"' not in collector.text
    assert "Kept by you" not in text_of(collector)
    assert 'name="keep"' not in collector.text


def test_a_kept_test_stays_kept_through_an_answer_of_which_only_a_part_is_sent(collector: Browser) -> None:
    collector.post("/draw", {**SHORT, "keep_too": "prothrombin-time"}, **PARTIAL)
    kept = collector.text.partition('<div id="kept" hx-swap-oob="innerHTML">')[2].partition("</div>")[0]
    assert kept.strip() == '<input type="hidden" name="keep" value="prothrombin-time">'


def test_the_draw_that_is_taken_is_the_one_that_was_shown(
    collector: Browser, record: SpecimenRecord, takings: Takings, demo: Site
) -> None:
    kept_tube(record, 4_000)
    form: Form = {
        **SHORT, "tests": f"{SHORT['tests']}\nvancomycin-trough", "drawn_ml": "", "now": "07:40", "place": "ward",
        "earlier": "INV-1", "flag": ["preterm"], "keep": "prothrombin-time", **dose("1400"),
    }  # fmt: skip
    collector.post("/draw", form)
    shown = text_of(collector)
    collector.post("/take", hidden_of(collector, "/take"))
    assert collector.path == "/take"
    ((taking, _),) = takings.waiting()
    order: Order = taking.order
    assert (order.keep, order.place, order.patient.flags) == (("prothrombin-time",), "ward", ("preterm",))
    assert order.patient.drawn_ul == 4_000
    assert order.now is not None
    assert [(one.what, one.at.isoformat()[:16]) for one in order.events] == [("next-dose", "2026-11-25T13:00")]
    tray = lay_tray(taking.plan, order, demo)
    assert tray.headline in shown
    assert tray.total.partition(",")[0].replace(" in all", " of blood") in shown
    assert json.dumps(plan_document(taking.plan)) == json.dumps(plan_document(plan_order(order, demo, today=TODAY)))


def test_a_site_that_gives_no_times_of_travel_is_asked_for_no_place(demo: Site) -> None:
    from msgspec.structs import replace

    from cubital.web.draw_moments import places_of

    silent = replace(demo, planning=replace(demo.planning, travel_min={}))
    assert places_of(silent) == ()
    assert places_of(demo)[:2] == (("", "the usual one, 15 min"), ("emergency", "emergency, 10 min"))


def test_the_reserve_is_said_once_and_the_objective_stands_in_the_proof(collector: Browser) -> None:
    collector.post("/draw", {**FORM, "tests": "K\nCBC\nPT", "age": "50", "weight_kg": "70"}, **PARTIAL)
    said = text_of(collector)
    assert said.count("room for a repeat or an added test: in each of the 3 tubes") == 1
    proof = collector.text.partition('id="proof"')[2].partition("</details>")[0]
    assert "objective: fewest tubes, then the kinds that the tests like best" in proof


def test_whoever_sends_more_events_than_an_order_holds_is_refused(collector: Browser) -> None:
    rows = [("dose", "vancomycin", "0", "08:00")] * 51
    collector.post("/draw", {"tests": "vancomycin-trough", **event(*rows)}, **PARTIAL)
    assert "expected at most 50" in text_of(collector)

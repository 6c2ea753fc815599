"""An instruction is a step with an outcome: whatever a plan says must be done stands on page, sheet, label and in JSON.

The plans are those of every test that has a moment, of every series, and of cases with events, cultures, second
samples, stops, part-filled and returned discards; then of orders drawn from all of them.
"""

from __future__ import annotations

import datetime
import html
import json
import re
from collections.abc import Iterator, Mapping
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from starlette.applications import Starlette

from cubital import facts
from cubital.app.accounts import Accounts
from cubital.app.draws import plan_order
from cubital.app.printing import invented_collection, labels_of, sheet_of
from cubital.app.record import SpecimenRecord
from cubital.app.taking import Takings
from cubital.app.wiring import open_site, order_of_words, plan_document
from cubital.errors import CubitalError
from cubital.model import Order, Plan, Site
from cubital.web.application import make_application
from cubital.web.desk import Desk
from tests.unit.paper.pdf import words_of
from tests.web.conftest import TODAY, Browser

DEMO = open_site(demo=True)
CLOSED = replace(DEMO, planning=replace(DEMO.planning, line_discard="returned"))
MOMENTOUS = sorted(
    [key for key, test in DEMO.tests.items() if test.moment is not None]
    + [key for key, panel in DEMO.panels.items() if panel.series]
)
ADULT, CHILD = {"age": "45 a", "weight_kg": 70}, {"age": "6 mo", "weight_kg": 6, "drawn_ml": 8}
EVENTS = [
    {"what": "next-dose", "of": "vancomycin", "at": "14:00"},
    {"what": "infusion-end", "of": "vancomycin", "at": "15:10"},
]
CASES: dict[str, dict[str, Any]] = {
    "levels": {"tests": ["vancomycin-trough", "vancomycin-peak", "CBC"], "patient": ADULT},
    "levels with their times": {"tests": ["vancomycin-trough", "vancomycin-peak"], "patient": ADULT, "events": EVENTS},
    "peaks of two drugs": {"tests": ["vancomycin-peak", "gentamicin-peak"], "patient": ADULT},
    "fasting and after the drink": {"tests": ["fasting glucose", "glucose 2 h post 75 g"], "patient": ADULT},
    "second sample": {"tests": ["group check", "group and screen", "ciclosporin"], "patient": ADULT},
    "two sets of cultures": {"tests": ["blood culture", "CBC", "digoxin"], "patient": ADULT},
    "cultures from a line": {
        "tests": ["blood culture", "PT"], "patient": ADULT, "access": "line", "line": {"dead_space_ml": 1},
    },
    "stops and choices of a child": {"tests": ["K", "CBC", "PT", "CRP", "type and screen"], "patient": CHILD},
    "a discard filled in part": {"tests": ["PT", "CBC"], "patient": ADULT, "access": "winged-set"},
    "a discard that is thrown away": {
        "tests": ["BMP", "PT"], "patient": ADULT, "access": "line", "line": {"dead_space_ml": 1},
    },
    "three series": {
        "tests": ["glucose-tolerance-75-g", "corticotropin-stimulation", "lactate-repeat"], "patient": ADULT,
    },
}  # fmt: skip
RETURNED = {"tests": ["BMP", "tacrolimus"], "patient": ADULT, "access": "line", "line": {"dead_space_ml": 1}}


def order_of(fields: Mapping[str, Any], site: Site) -> Order:
    return order_of_words(dict(fields), where="test", today=TODAY, zone=site.time_zone)


def instructions(plan: Plan) -> Iterator[str]:
    """Everything that the plan says must be known or done, from the plan itself."""
    for draw in plan.draws:
        if any(tube.draw == draw.number for tube in plan.tubes):
            yield from (draw.moment, *draw.asks, *draw.steps)
            yield draw.label if len(plan.draws) > 1 else ""
            for at in (draw.due_from, draw.due_to):
                yield "" if at is None else clock(at)
    yield from (caution.text for caution in plan.cautions if caution.level in ("stop", "warn"))
    for one in plan.unplaced:
        yield from (DEMO.tests[one.test].name, one.why, one.needs, (one.rank or "").replace("-", " "))
    for choice in plan.choices:
        yield f"eep {DEMO.tests[choice.keep].name} instead"
    for tube in plan.tubes:
        if tube.returned:
            yield "give back at once"
        elif tube.purpose == "discard":
            yield "then throw away"
        if tube.size_ul is not None:
            yield f"in a {tube.size_ul / 1000:g} mL tube"


def clock(at: datetime.datetime) -> str:
    return f"{at.astimezone(ZoneInfo(DEMO.time_zone)):%H:%M}"


def squeezed(text: str) -> str:
    return "".join(text.split())


def missing(plan: Plan, said: str) -> list[str]:
    """The instructions of the plan that are not among these words."""
    words = squeezed(said)
    return [text for text in instructions(plan) if squeezed(text) not in words]


def words_of_page(text: str) -> str:
    return html.unescape(re.sub(r"<[^>]+>", " ", text))


def form_of(fields: Mapping[str, Any]) -> dict[str, str | list[str]]:
    """The order as the form of the Draw page sends it."""
    patient, line, events = fields.get("patient", {}), fields.get("line", {}), fields.get("events", ())
    age, _, unit = patient.get("age", " ").partition(" ")
    return {
        "tests": "\n".join(fields["tests"]), "access": fields.get("access", "straight-needle"), "age": age,
        "age_unit": unit, **{name: str(patient[name]) for name in ("weight_kg", "drawn_ml") if name in patient},
        **{name: str(value) for name, value in line.items()},
        "event_what": [one["what"] for one in events], "event_of": [one["of"] for one in events],
        "event_at": [one["at"] for one in events], "event_day": ["0" for _ in events],
    }  # fmt: skip


def labels(plan: Plan, order: Order, site: Site) -> dict[int, str]:
    """The words of each label, by the place of its tube in the plan."""
    who = invented_collection(plan, order, today=TODAY)
    pages = words_of(labels_of(plan, order, site, who, stock="roll-57x32", today=TODAY))[1:]
    kept = [place for place, tube in enumerate(plan.tubes) if tube.purpose != "discard"]
    return dict(zip(kept, pages, strict=True))


def check_labels(plan: Plan, order: Order, site: Site) -> None:
    """Each label carries the minute of its series or the moment of its tests, and no two of one test are alike."""
    if not any(tube.purpose != "discard" for tube in plan.tubes):
        return
    found = labels(plan, order, site)
    moments = facts.moments()
    for place, said in found.items():
        tube = plan.tubes[place]
        label = plan.draws[tube.draw - 1].label
        for minute in re.findall(r"draw at (\d+ min)", label):
            assert minute in said, (minute, said)
        for key in {site.tests[test].moment for test in tube.tests} - {None}:
            moment = moments[str(key)]
            for word in ("trough", "peak", "C0", "C2"):
                if word in moment.label and moment.label in label:
                    assert word in said, (word, said)
    bare = {place: re.sub(r"Q26\d+", "", said) for place, said in found.items()}
    for place, said in bare.items():
        for other, theirs in bare.items():
            one, two = plan.tubes[place], plan.tubes[other]
            if one.draw < two.draw and set(one.tests) & set(two.tests):
                assert said != theirs


def check_paper_and_json(plan: Plan, order: Order, site: Site) -> None:
    sheet = " ".join(words_of(sheet_of(plan, order, site, today=TODAY)))
    assert missing(plan, sheet) == []
    document = plan_document(plan)
    assert json.loads(json.dumps(document)) == document
    for draw, said in zip(plan.draws, document["draws"], strict=True):
        assert (said["steps"], said["asks"]) == ([*draw.steps], [*draw.asks])
        assert (said["moment"] or "", said["label"]) == (draw.moment, draw.label)
        for at, text in ((draw.due_from, said["due_from"]), (draw.due_to, said["due_to"])):
            assert text is None if at is None else datetime.datetime.fromisoformat(text) == at
    assert [one["text"] for one in document["cautions"]] == [one.text for one in plan.cautions]
    assert [(one["test"], one["why"], one["needs"], one["rank"]) for one in document["unplaced"]] == [
        (one.test, one.why, one.needs, one.rank) for one in plan.unplaced
    ]
    assert [(one["keep"], tuple(one["left_out"])) for one in document["choices"]] == [
        (one.keep, one.left_out) for one in plan.choices
    ]
    for tube, row in zip(plan.tubes, document["tubes"], strict=True):
        assert row["returned"] == tube.returned
        assert row["size_ml"] == (tube.size_ul or tube.draw_ul) / 1000


def check_page(browser: Browser, fields: Mapping[str, Any], plan: Plan) -> None:
    browser.post("/draw", form_of(fields))
    assert missing(plan, words_of_page(browser.text)) == [], fields


def check_take(browser: Browser, fields: Mapping[str, Any], plan: Plan) -> None:
    """Take the draw in hand, and look at what the page is given: the card of each check, and each first tube."""
    browser.post("/draw", form_of(fields))
    part = browser.text.partition('action="/take"')[2].partition("</form>")[0]
    sent: dict[str, str | list[str]] = {}
    for name, value in re.findall(r'name="([^"]+)" value="([^"]*)"', part):
        sent[name] = [*sent.get(name, []), html.unescape(value)]
    browser.post("/take", sent)
    found = browser.client.get("/take/draws").json()["draws"]
    view = browser.client.get("/take/draws", params={"draw": found[-1]["code"]}).json()["draw"]
    firsts: dict[int, str] = {}
    for step in view["steps"]:
        firsts.setdefault(step["draw"], words_of_page(step["html"]))
    for draw in plan.draws:
        card = " ".join(one["text"] for one in view["draws"][draw.number - 1]["before"])
        for text in (draw.moment, *draw.asks, *draw.steps):
            assert squeezed(text) in squeezed(firsts[draw.number]), text
            assert squeezed(text) in squeezed(card), text
    said = words_of_page(" ".join(step["html"] for step in view["steps"]))
    for tube in plan.tubes:
        if tube.purpose == "discard":
            assert ("give back at once" if tube.returned else "then throw away") in said


@pytest.fixture
def closed(accounts: Accounts, record: SpecimenRecord, takings: Takings) -> Browser:
    """A collector at a site whose lines are closed: what clears them goes back."""
    application: Starlette = make_application(
        Desk(CLOSED, accounts, record=record, today=lambda: TODAY, takings=takings)
    )
    browser = Browser(application)
    assert browser.sign_in("collector").path == "/draw"
    return browser


@pytest.mark.parametrize("name", CASES)
def test_every_instruction_of_a_plan_stands_on_page_sheet_label_and_in_json(name: str, collector: Browser) -> None:
    order = order_of(CASES[name], DEMO)
    plan = plan_order(order, DEMO, today=TODAY)
    assert [text for text in instructions(plan) if text]
    check_page(collector, CASES[name], plan)
    check_take(collector, CASES[name], plan)
    check_paper_and_json(plan, order, DEMO)
    check_labels(plan, order, DEMO)


def test_blood_that_goes_back_to_the_patient_is_said_to_everywhere(closed: Browser) -> None:
    order = order_of(RETURNED, CLOSED)
    plan = plan_order(order, CLOSED, today=TODAY)
    assert any(tube.returned for tube in plan.tubes)
    check_page(closed, RETURNED, plan)
    check_take(closed, RETURNED, plan)
    check_paper_and_json(plan, order, CLOSED)
    check_labels(plan, order, CLOSED)


def test_every_moment_and_series_of_the_site_is_carried_through(collector: Browser) -> None:
    for name in MOMENTOUS:
        by_syringe = "gas" in name or "dried" in name or name == "newborn-screening"
        fields = {"tests": [name], "patient": ADULT, "access": "syringe" if by_syringe else "straight-needle"}
        order = order_of(fields, DEMO)
        plan = plan_order(order, DEMO, today=TODAY)
        check_page(collector, fields, plan)
        check_paper_and_json(plan, order, DEMO)
        check_labels(plan, order, DEMO)


LEVELS = [name for name in MOMENTOUS if name in DEMO.tests]
ORDINARY = ["CBC", "PT", "K", "blood culture", "type and screen", "TSH"]


def lists_of(names: list[str]) -> st.SearchStrategy[list[str]]:
    return st.lists(st.sampled_from([*names, *ORDINARY]), min_size=2, max_size=4, unique=True)


# Blood is short for the child: its orders hold levels and no series, whose many draws are searched for long.
ORDERS = st.one_of(
    st.tuples(lists_of(MOMENTOUS), st.just(ADULT)), st.tuples(lists_of(LEVELS), st.just(CHILD))
)  # fmt: skip


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(asked=ORDERS, access=st.sampled_from(["straight-needle", "winged-set", "syringe"]))
def test_whatever_is_asked_together_is_carried_through(
    collector: Browser, asked: tuple[list[str], dict[str, Any]], access: str
) -> None:
    tests, patient = asked
    fields = {"tests": tests, "patient": patient, "access": access}
    order = order_of(fields, DEMO)
    plan = planned_or_refused(order)
    if isinstance(plan, str):
        collector.post("/draw", form_of(fields))
        assert squeezed(plan) in squeezed(words_of_page(collector.text))
        return
    check_page(collector, fields, plan)
    check_paper_and_json(plan, order, DEMO)
    check_labels(plan, order, DEMO)


def planned_or_refused(order: Order) -> Plan | str:
    """The plan, or why there is none."""
    try:
        return plan_order(order, DEMO, today=TODAY)
    except CubitalError as refused:
        return str(refused)

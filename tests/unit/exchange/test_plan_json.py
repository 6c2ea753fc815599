"""The JSON of a plan and of an error, as the contract has it."""

from __future__ import annotations

import datetime
import json

from cubital.errors import AmbiguousTest, NoTube, SiteError, UnknownTest, UnplacedKind
from cubital.exchange.plan_json import error_document, plan_document
from cubital.model import (
    Bound,
    Caution,
    Choice,
    Draw,
    Plan,
    PlannedTube,
    Reason,
    Totals,
    Unplaced,
)

CITRATE = PlannedTube(
    position=2,
    draw=1,
    purpose="collect",
    kind="citrate",
    name="citrate 9:1",
    additive="citrate-9-1",
    gel=False,
    draw_ul=2700,
    stopper="light blue",
    mark="C9",
    liquid_additive_ul=300,
    matrix="plasma",
    benches=("coagulation", "chemistry"),
    tests=("prothrombin-time",),
    usable_ul=1406,
    needed_ul=300,
    reserve_ul=250,
    fill_min_percent=90,
    inversions=4,
    handling=("full_tube",),
    reasons=(Reason(about="tube 2", text="citrate first", basis="standard", sources=("clsi-gp41",)),),
)
DISCARD = PlannedTube(
    position=1,
    draw=1,
    purpose="discard",
    kind="serum-glass",
    name="plain",
    additive="none",
    gel=False,
    draw_ul=500,
    size_ul=5000,
)
PLAN = Plan(
    objective="fewest-tubes",
    volumes="typical",
    optimal=True,
    bound=Bound(tubes=1, blood_ul=3200, preference=0, searched=12, finished=True),
    policy="clsi-gp41",
    site="a site (invented)",
    access="winged-set",
    draws=(
        Draw(
            number=1,
            at_min=0,
            label="trough",
            moment="before the next dose",
            steps=("ask both identifiers again",),
            asks=("time of the next dose",),
            due_to=datetime.datetime(2026, 11, 25, 8, tzinfo=datetime.UTC),
            blood_ul=3200,
        ),
    ),
    tubes=(DISCARD, CITRATE),
    totals=Totals(
        tubes=1,
        blood_ul=3200,
        preference=0,
        all_tubes=2,
        all_blood_ul=3200,
        limit_ul=125_050,
        already_drawn_ul=1,
        discard_ul=500,
        returned_ul=4,
    ),
    unplaced=(Unplaced(test="zinc", priority="routine", why="limit", needs="6 mL more", rank="can-wait"),),
    choices=(Choice(keep="zinc", left_out=("prothrombin-time",), tubes=1, all_blood_ul=6000, optimal=True),),
    cautions=(Caution(level="stop", text="limit reached"),),
    reasons=(Reason(about="plan", text="least", basis="computed"),),
    edition="2025-11-25",
    id="a-1",
)


def test_a_plan_has_the_keys_of_the_contract_and_only_json_values() -> None:
    document = plan_document(PLAN)
    assert json.loads(json.dumps(document)) == document
    assert document["format"] == "cubital.plan/1"
    assert (document["objective"], document["optimal"], document["id"]) == ("fewest-tubes", True, "a-1")
    assert document["unplaced"] == [
        {"test": "zinc", "priority": "routine", "rank": "can-wait", "why": "limit", "needs": "6 mL more"}
    ]
    assert document["choices"] == [
        {"keep": "zinc", "left_out": ["prothrombin-time"], "tubes": 1, "all_blood_ml": 6.0, "optimal": True}
    ]
    assert document["cautions"][0]["level"] == "stop"
    assert document["reasons"] == [{"about": "plan", "text": "least", "basis": "computed", "sources": []}]


def test_a_draw_states_its_moment_what_is_done_and_asked_first_and_when_it_is_due() -> None:
    assert plan_document(PLAN)["draws"] == [
        {
            "number": 1,
            "at_min": 0,
            "label": "trough",
            "moment": "before the next dose",
            "steps": ["ask both identifiers again"],
            "asks": ["time of the next dose"],
            "due_from": None,
            "due_to": "2026-11-25T08:00+00:00",
            "blood_ml": 3.2,
        }
    ]


def test_a_tube_states_what_the_contract_asks_and_what_is_unknown_is_null() -> None:
    discard, citrate = plan_document(PLAN)["tubes"]
    asked = {
        k: citrate[k]
        for k in (
            "position",
            "purpose",
            "kind",
            "additive",
            "draw_ml",
            "matrix",
            "bench",
            "tests",
            "inversions",
        )
    }
    assert asked == {
        "position": 2,
        "purpose": "collect",
        "kind": "citrate",
        "additive": "citrate-9-1",
        "draw_ml": 2.7,
        "matrix": "plasma",
        "bench": "coagulation + chemistry",
        "tests": ["prothrombin-time"],
        "inversions": 4,
    }
    assert (citrate["usable_ml"], citrate["needed_ml"]) == (1.406, 0.3)
    assert citrate["reasons"][0]["sources"] == ["clsi-gp41"]
    assert (citrate["draw_ml"], citrate["size_ml"], citrate["returned"]) == (2.7, 2.7, False)
    assert discard["purpose"] == "discard"
    assert (discard["draw_ml"], discard["size_ml"], discard["returned"]) == (0.5, 5.0, False)
    assert discard["matrix"] is None
    assert discard["bench"] is None
    assert discard["inversions"] is None


def test_the_totals_count_what_is_thrown_away_and_keep_what_is_given_back_apart() -> None:
    assert plan_document(PLAN)["totals"] == {
        "tubes": 1,
        "blood_ml": 3.2,
        "limit_ml": 125.05,
        "preference": 0,
        "all_tubes": 2,
        "all_blood_ml": 3.2,
        "already_drawn_ml": 0.001,
        "blood_volume_ml": None,
        "discard_ml": 0.5,
        "returned_ml": 0.004,
    }


def test_an_error_says_its_class_place_and_what_it_knows() -> None:
    unknown = error_document(UnknownTest("found 'kk'", where="tests[0]", asked="kk", near=["k"]), id="7")
    assert unknown == {
        "format": "cubital.error/1",
        "id": "7",
        "error": "UnknownTest",
        "where": "tests[0]",
        "message": "found 'kk'",
        "asked": "kk",
        "near": ["k"],
    }
    assert error_document(AmbiguousTest("m", choices=["a", "b"]))["choices"] == ["a", "b"]
    assert error_document(NoTube("m", test="zinc"))["test"] == "zinc"
    assert error_document(SiteError("m", findings=["f"]))["findings"] == ["f"]
    silent = error_document(UnplacedKind("m", kind="acd-a", policy="clsi-gp41", choices=["last"]))
    assert (silent["kind"], silent["policy"], silent["choices"]) == ("acd-a", "clsi-gp41", ["last"])

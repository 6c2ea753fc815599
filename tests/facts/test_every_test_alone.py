"""Every test and panel of the shipped directory plans alone, for an adult, a child and a newborn, or says why not."""

from __future__ import annotations

import pytest

from cubital import facts
from cubital.errors import CubitalError
from cubital.model import Plan
from cubital.model.order import Line
from cubital.model.vocabulary import ACCESSES
from cubital.planning.windows import why_too_late
from tests.published.shipped import SHIPPED, order_of, patient_of, verified

YEAR_D = 365.25
PATIENTS = {"adult": patient_of(70, 35), "child": patient_of(18, 5), "newborn": patient_of(3, 3 / YEAR_D)}
# What 1 % of the blood of 3 kg does not reach, each with the least it needs: all wait or go to a physician.
TOO_MUCH_FOR_A_NEWBORN = {
    "cryoglobulin", "cell-free-dna", "hla-typing", "bcr-abl1", "non-invasive-prenatal-screen",
    "antibody-identification", "platelet-antibodies", "transfusion-reaction", "lymphocyte-proliferation",
    "cryofibrinogen", "fetal-rhd-genotype",
}  # fmt: skip
# Of these every kind is late by the strict windows, and by the extended ones too: the plan asks the laboratory first.
ALWAYS_LATE: set[str] = set()


def planned(name: str, who: str) -> list[Plan]:
    """The verified plans of this entry alone, by every access that can draw it."""
    found = []
    for access in sorted(ACCESSES):
        line = Line(dead_space_ul=100 if who == "newborn" else 500, carried_anticoagulant=False)
        try:
            found.append(verified(order_of(name, patient=PATIENTS[who], access=access, line=line), SHIPPED))
        except CubitalError:
            continue
    return found


@pytest.mark.parametrize("who", PATIENTS)
def test_every_test_alone_is_planned_by_an_access_or_says_what_it_would_need(who: str) -> None:
    refused = set()
    for key in SHIPPED.tests:
        plans = planned(key, who)
        assert plans, f"{key}: no access draws it"
        whole = [plan for plan in plans if not plan.unplaced]
        if not whole:
            refused.add(key)
            assert all(entry.why and entry.needs for plan in plans for entry in plan.unplaced), key
    assert refused == (TOO_MUCH_FOR_A_NEWBORN if who == "newborn" else set())


@pytest.mark.parametrize("who", PATIENTS)
def test_every_panel_alone_places_each_of_its_tests_or_says_why_not(who: str) -> None:
    for key, panel in SHIPPED.panels.items():
        wanted = {*panel.tests, *(test for step in panel.series for test in step.tests)}
        plans = planned(key, who)
        assert plans, f"{key}: no access draws it"
        for plan in plans:
            drawn = {test for tube in plan.tubes for test in tube.tests}
            assert wanted <= drawn | {entry.test for entry in plan.unplaced}, key
            assert all(entry.why for entry in plan.unplaced), key
        if who == "adult":
            assert any(not plan.unplaced for plan in plans), key


def test_the_plan_of_one_test_names_no_kind_that_its_own_stability_rules_out() -> None:
    late = set()
    for key, test in SHIPPED.tests.items():
        for tube in (tube for plan in planned(key, "adult")[:1] for tube in plan.tubes if key in tube.tests):
            kind = SHIPPED.kinds[tube.kind]
            matrix = tube.matrix or "whole-blood"
            if why_too_late(test, kind, matrix, travel_min=0, windows="strict") is not None:
                late.add(key)
    assert late == ALWAYS_LATE


def test_a_kind_that_stability_rules_out_is_seen_to_be_late() -> None:
    kind = SHIPPED.kinds["serum-glass"]
    found = why_too_late(SHIPPED.tests["zinc"], SHIPPED.kinds["trace-plain"], "serum", travel_min=0, windows="strict")
    assert found is not None
    assert why_too_late(SHIPPED.tests["sodium"], kind, "serum", travel_min=0, windows="strict") is None


def test_the_kinds_for_special_specimens_serve_their_tests_alone() -> None:
    served: dict[str, set[str]] = {}
    for key, test in facts.tests_table().items():
        for accept in test.get("accepts", ()):
            for kind in accept["tubes"]:
                served.setdefault(kind, set()).add(key)
    assert served["perchloric-acid"] == {"pyruvate"}
    assert served["culture-mycobacterial"] == served["sps"] == {"mycobacterial-blood-culture"}
    assert {"newborn-screening", "hiv-dna-dried-spot"} < served["spot-card"]
    assert {"karyotype", "lymphocyte-proliferation"} <= served["sodium-heparin"]
    assert served["bedside-syringe"] == {"activated-clotting-time"}


def test_a_mycobacterial_bottle_stands_with_the_cultures_and_pyruvate_comes_last() -> None:
    asks = ("mycobacterial-blood-culture", "pyruvate", "sodium", "lactate", "blood-culture")
    plan = verified(order_of(*asks, access="syringe", patient=PATIENTS["adult"]), SHIPPED)
    kinds = [tube.kind for tube in plan.tubes if tube.draw == 1]
    assert kinds[-1] == "perchloric-acid"
    assert kinds.index("culture-mycobacterial") < kinds.index("fluoride-oxalate")

"""Trade facts: common practice, no source. Not a guideline and not a check against a text: what collectors do, held
against what the shipped facts make a plan do.
"""

from __future__ import annotations

from itertools import pairwise

import pytest
from msgspec.structs import replace

from cubital import facts
from cubital.model import Ask, Order
from cubital.planning.directory import Directory
from tests.published.shipped import SHIPPED, kinds_drawn, order_of, site_of_kinds, verified

SITE = site_of_kinds("common-practice", blood_limit=None)
# The order of the trade, every shipped kind that a vein fills. One tuple is one step, in our own tie order.
ORDER = (
    ("culture",), ("sps",),
    ("citrate",),
    ("serum-glass", "serum"),
    ("serum-gel",),
    ("thrombin",),
    ("trace-plain",),
    ("heparin", "sodium-heparin", "ammonium-heparin"),
    ("heparin-gel",),
    ("edta", "edta-k3", "edta-gel"),
    ("edta-blood-bank",),
    ("citrate-sedimentation",),
    ("trace-heparin", "trace-edta"),
    ("lead",),
    ("acd-a", "acd-b"),
    ("iodoacetate-heparin", "fluoride-heparin", "fluoride-edta", "fluoride-oxalate"),
)  # fmt: skip
KINDS = [kind for step in ORDER for kind in step]
OPEN = {"skin-puncture"}
VENOUS = [k for k in SHIPPED.kinds.values() if k.additive != "culture-medium" and OPEN.isdisjoint(k.accesses or ())]
MIXED = sorted(a for a in facts.additives() if a != "none")


def test_the_order_here_names_every_shipped_kind_that_a_needle_fills_and_the_gas_syringes() -> None:
    apart = {"gas-syringe", "gas-syringe-part", "bedside-syringe", "perchloric-acid"}
    assert {kind.key for kind in VENOUS} == {*KINDS, *apart} - {"culture"}


def test_all_of_them_in_one_draw_come_in_the_order_of_the_trade() -> None:
    drawn = kinds_drawn(order_of(*reversed(KINDS)), SITE)
    assert [kind for kind in drawn if not kind.startswith("culture")] == KINDS[1:]
    assert drawn[0].startswith("culture")


@pytest.mark.parametrize(("first", "second"), [pair for pair in pairwise(KINDS) if pair[0] != "culture"])
def test_each_kind_goes_before_the_next(first: str, second: str) -> None:
    assert kinds_drawn(order_of(second, first), SITE) == [first, second]


def test_a_gas_syringe_stands_with_the_heparins() -> None:
    order = order_of("serum-gel", "edta", "gas-syringe", access="syringe")
    assert kinds_drawn(order, SITE) == ["serum-gel", "gas-syringe", "edta"]


@pytest.mark.parametrize("additive", MIXED)
def test_a_tube_with_an_additive_is_inverted_five_to_ten_times(additive: str) -> None:
    for gel in (False, True):
        found = facts.inversions(additive, gel)
        assert found is not None
        assert 5 <= found.chosen <= 10


def test_every_planned_tube_says_how_often_it_is_inverted() -> None:
    plan = verified(order_of(*KINDS), SITE)
    for tube in plan.tubes:
        assert tube.inversions is not None
        assert (5 <= tube.inversions <= 10) or (tube.additive == "none" and tube.inversions == 0)


def test_glass_plain_serum_has_no_activator_and_plastic_has_one() -> None:
    for kind in SHIPPED.kinds.values():
        if kind.material is not None and kind.use is None:
            assert (kind.additive == "none") == (kind.material == "glass")


def test_thrombin_serum_clots_sooner_than_any_other() -> None:
    times = {
        (additive, gel): found.min_s
        for additive in ("none", "clot-activator", "thrombin")
        for gel in (False, True)
        if (found := facts.clotting(additive, gel)) is not None
    }
    assert min(times, key=times.__getitem__)[0] == "thrombin"
    assert times["thrombin", False] < times["clot-activator", True] / 2


@pytest.mark.parametrize("test", ["ammonia", "potassium"])
def test_ammonia_and_electrolytes_come_first_from_heparin(test: str) -> None:
    first = SHIPPED.kinds[SHIPPED.tests[test].accepts[0].tubes[0]]
    assert first.additive == "lithium-heparin"


def test_blood_gases_come_from_heparin_only() -> None:
    for key in ("arterial-blood-gas", "venous-blood-gas"):
        kinds = [SHIPPED.kinds[kind] for accept in SHIPPED.tests[key].accepts for kind in accept.tubes]
        assert kinds
        assert {kind.additive for kind in kinds} <= {"lithium-heparin", "sodium-heparin"}


def test_edta_serves_counts_sedimentation_and_the_blood_bank_with_a_tube_of_its_own_for_the_repeat() -> None:
    for key in ("cbc", "erythrocyte-sedimentation-rate", "abo-rh-group"):
        found = SHIPPED.tests.get(key) or SHIPPED.tests[_key_of(key)]
        additives = {SHIPPED.kinds[kind].additive for accept in found.accepts for kind in accept.tubes}
        assert "k2-edta" in additives
    check = SHIPPED.tests["group-check"]
    assert check.own_tube
    group = verified(order_of("abo-rh-group", "group-check"), SHIPPED)
    assert [tube.draw for tube in group.tubes] == [1, 2]
    assert "a puncture of its own" in group.draws[1].moment
    assert any("new puncture" in step for step in group.draws[1].steps)
    assert any("ask both identifiers again" in step for step in group.draws[1].steps)


def _key_of(word: str) -> str:
    return Directory(SHIPPED).resolve(word, system=None, where="test")[1]


def test_the_sedimentation_citrate_serves_its_one_method_and_elsewhere_edta_does_it() -> None:
    served = {t.key for t in SHIPPED.tests.values() for a in t.accepts if "citrate-sedimentation" in a.tubes}
    assert served == {_key_of("citrate esr")}
    assert [tube.kind for tube in verified(order_of("esr"), SHIPPED).tubes] == ["edta"]
    assert [tube.kind for tube in verified(order_of("citrate esr"), SHIPPED).tubes] == ["citrate-sedimentation"]


def test_the_lead_tube_serves_lead_alone_and_acd_tissue_typing() -> None:
    by_kind = {
        kind: {t.key for t in SHIPPED.tests.values() for a in t.accepts if kind in a.tubes}
        for kind in ("lead", "acd-a", "edta-gel")
    }
    assert by_kind["lead"] == {"lead"}
    assert "hla-typing" in by_kind["acd-a"]
    assert all("viral" in key or "dna" in key or "rna" in key for key in by_kind["edta-gel"])


def test_trace_metals_stay_closed_or_clean_in_trace_element_tubes() -> None:
    for key in ("zinc", "copper", "selenium", "manganese"):
        first = SHIPPED.kinds[SHIPPED.tests[key].accepts[0].tubes[0]]
        assert first.use == "trace-element"
        assert "metal_free" in SHIPPED.tests[key].handling or "keep_closed" in SHIPPED.tests[key].handling


@pytest.mark.parametrize("key", ["glucose", "lactate", "ethanol", "glucose-tolerance-120-min"])
def test_fluoride_preserves_glucose_lactate_and_alcohol(key: str) -> None:
    first = SHIPPED.kinds[SHIPPED.tests[key].accepts[0].tubes[0]]
    assert first.additive.startswith("fluoride")


def test_oxalate_is_last_for_the_harm_it_does_and_heparin_harms_edta_less_than_the_reverse() -> None:
    oxalate = facts.additives()["fluoride-oxalate"]
    assert any(h.to == () and "potassium" in h.text and "membranes" in h.text for h in oxalate.harms)
    heparin = next(h for h in facts.additives()["lithium-heparin"].harms if "edta" in h.to)
    assert "less" in heparin.text
    assert heparin.mark.label() == "common practice, no source"


def test_the_two_yellow_stoppers_are_told_apart_by_additive_and_letters() -> None:
    yellow = [kind for kind in SHIPPED.kinds.values() if kind.stopper == "yellow"]
    assert {kind.additive for kind in yellow} == {"sps", "acd-a", "acd-b"}
    assert len({kind.mark for kind in yellow}) == len(yellow)
    drawn = verified(order_of("sps", "acd-a", "acd-b"), SITE).tubes
    assert [(tube.additive, tube.mark) for tube in drawn] == [("sps", "SP"), ("acd-a", "AA"), ("acd-b", "AB")]


def test_the_policy_says_of_itself_that_it_has_no_source() -> None:
    policy = facts.order_policies()["common-practice"]
    assert {mark.label() for mark in policy.marks} == {"common practice, no source"}
    assert policy.silent == ()
    plan = verified(order_of("citrate"), SITE)
    place = [r for tube in plan.tubes for r in tube.reasons if r.about == "place"]
    assert [(r.basis, r.sources) for r in place] == [("common-practice", ("common-practice",))]


def test_a_winged_set_discard_is_best_without_additive_and_else_of_the_same_additive() -> None:
    order = order_of("citrate", access="winged-set")
    assert verified(order, SITE).tubes[0].additive == "none"
    only = replace(SITE, kinds={key: kind for key, kind in SITE.kinds.items() if kind.additive == "citrate-9-1"})
    only = replace(only, tests={"citrate": SITE.tests["citrate"]})
    assert [(t.purpose, t.additive) for t in verified(order, only).tubes] == [
        ("discard", "citrate-9-1"), ("collect", "citrate-9-1"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("tests", "priority", "access", "is_said"),
    [
        (("tibc",), "stat", "straight-needle", True),
        (("tibc",), "routine", "straight-needle", False),
        (("ammonia",), "stat", "straight-needle", False),  # plasma waits for no clot
        (("ferritin", "tibc"), "stat", "straight-needle", True),  # tibc alone may go into thrombin
        (("ana",), "stat", "straight-needle", False),  # not from thrombin serum
        (("tibc",), "stat", "skin-puncture", False),  # no thrombin tube is filled so
    ],
)
def test_thrombin_is_named_for_urgent_serum(tests: tuple[str, ...], priority: str, access: str, is_said: bool) -> None:
    order = Order(asks=tuple(Ask(test=t, priority=priority) for t in tests), access=access)  # type: ignore[arg-type]
    assert any("thrombin tube is stocked" in c.text for c in verified(order, SHIPPED).cautions) is is_said

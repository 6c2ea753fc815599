"""The orders of draw place what their source places, leave the rest unsaid, and agree where they must."""

from __future__ import annotations

from typing import get_args

import pytest

from cubital import facts
from cubital.facts.orders import OrderPolicy, Place
from cubital.facts.tubes import AccessKey

OWN_USE_ONLY = ("trace-element", "lead")


def place_of(policy: OrderPolicy, additive: str, *, gel: bool, use: str | None) -> int | None:
    """The step of a tube in a policy, by the rule written at `Place`: the most specific place wins."""

    def fits(place: Place) -> bool:
        if place.use is not None and place.use != use:
            return False
        if use in OWN_USE_ONLY and place.use is None:
            return False
        return place.additive == additive and place.gel in (None, gel)

    found = [
        ((place.use is not None) + (place.gel is not None), number)
        for number, step in enumerate(policy.steps)
        for place in step.places
        if fits(place)
    ]
    return max(found)[1] if found else None


def place_of_kind(policy: str, kind: str) -> int | None:
    """The step of a shipped kind in a shipped policy."""
    entry = facts.tube_table()[kind]
    return place_of(facts.order_policies()[policy], entry["additive"], gel=entry["gel"], use=entry.get("use"))


def test_common_practice_places_every_kind_that_a_vein_fills() -> None:
    unplaced = [
        kind
        for kind, entry in facts.tube_table().items()
        if entry["accesses"] != ["skin-puncture"] and place_of_kind("common-practice", kind) is None
    ]
    assert unplaced == []


# The paragraph of trade facts, in its order: common practice, no source.
TRADE_ORDER = (
    "sps", "citrate", "serum-glass", "serum-gel", "thrombin", "trace-plain", "heparin", "heparin-gel", "edta",
    "edta-blood-bank", "citrate-sedimentation", "trace-heparin", "lead", "acd-a", "fluoride-oxalate",
)  # fmt: skip


def test_common_practice_follows_the_order_of_the_trade() -> None:
    places = [place_of_kind("common-practice", kind) for kind in TRADE_ORDER]
    assert None not in places
    assert places == sorted(set(places), key=lambda p: p or 0)
    assert place_of_kind("common-practice", "edta-gel") == place_of_kind("common-practice", "edta")
    assert place_of_kind("common-practice", "trace-edta") == place_of_kind("common-practice", "trace-heparin")


@pytest.mark.parametrize("policy", ["who-2010", "clsi-gp41", "eflm-2018", "skin-puncture"])
def test_no_guideline_places_a_trace_element_tube(policy: str) -> None:
    for kind in ("trace-plain", "trace-edta", "trace-heparin"):
        assert place_of_kind(policy, kind) is None
    found = facts.order_policies()[policy]
    assert "trace-element" in [s.use for s in found.silent] + [r.use for r in found.refused]


@pytest.mark.parametrize("policy", ["who-2010", "clsi-gp41", "eflm-2018"])
def test_what_a_guideline_leaves_unplaced_it_is_silent_on_with_the_choices(policy: str) -> None:
    for kind, entry in facts.tube_table().items():
        if place_of_kind(policy, kind) is not None or entry["accesses"] == ["skin-puncture"]:
            continue
        said = [
            silent
            for silent in facts.order_policies()[policy].silent
            if silent.additive in (None, entry["additive"])
            and silent.gel in (None, entry["gel"])
            and silent.use in (None, entry.get("use"))
        ]
        assert said, f"{policy} neither places {kind} nor is silent on it"
        assert all(silent.choices for silent in said)


@pytest.mark.parametrize("policy", ["who-2010", "clsi-gp41", "eflm-2018"])
def test_a_guideline_never_both_places_a_tube_and_is_silent_on_it(policy: str) -> None:
    for silent in facts.order_policies()[policy].silent:
        if silent.additive is not None:
            for gel in (False, True) if silent.gel is None else (silent.gel,):
                found = place_of(facts.order_policies()[policy], silent.additive, gel=gel, use=silent.use)
                assert found is None, silent.what


# On these all three guidelines agree; read second-hand, in part from memory (see order_of_draw.toml).
@pytest.mark.parametrize("policy", ["who-2010", "clsi-gp41", "eflm-2018", "common-practice"])
@pytest.mark.parametrize(
    ("earlier", "later"),
    [
        ("culture-aerobic", "citrate"),
        ("citrate", "serum"),
        ("citrate", "serum-gel"),
        ("serum-gel", "heparin-gel"),
        ("heparin-gel", "edta"),
        ("edta", "fluoride-oxalate"),
    ],
)
def test_every_venous_policy_agrees_on_the_safe_order(policy: str, earlier: str, later: str) -> None:
    first, second = place_of_kind(policy, earlier), place_of_kind(policy, later)
    assert first is not None
    assert second is not None
    assert first < second


def test_only_who_puts_the_plain_tube_before_citrate() -> None:
    plain_first = {
        policy
        for policy in ("who-2010", "clsi-gp41", "eflm-2018", "common-practice")
        if (place_of_kind(policy, "serum-glass") or 0) < (place_of_kind(policy, "citrate") or 0)
    }
    assert plain_first == {"who-2010"}


def test_a_lead_tube_of_k2_edta_goes_with_edta_under_clsi_alone() -> None:
    assert place_of_kind("clsi-gp41", "lead") == place_of_kind("clsi-gp41", "edta")
    assert place_of_kind("who-2010", "lead") is None
    assert place_of_kind("eflm-2018", "lead") is None


def test_a_skin_puncture_goes_bedside_gas_card_then_edta_then_other_additives_then_serum() -> None:
    kinds = ("bedside-drop", "gas-capillary", "spot-card", "edta-micro", "heparin-micro", "serum-micro")
    assert [place_of_kind("skin-puncture", kind) for kind in kinds] == [0, 1, 2, 3, 4, 5]
    refused = {entry.additive for entry in facts.order_policies()["skin-puncture"].refused}
    assert {"citrate-9-1", "citrate-4-1", "culture-medium", "sps"} <= refused
    for additive in refused - {None}:
        assert place_of(facts.order_policies()["skin-puncture"], str(additive), gel=False, use=None) is None


def test_every_access_named_by_a_policy_exists() -> None:
    assert set(facts.accesses()) == set(get_args(AccessKey))
    for policy in facts.order_policies().values():
        assert set(policy.accesses_in_scope or ()) <= set(facts.accesses())

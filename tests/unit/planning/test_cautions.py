"""What to watch: by the tests, the patient, the tubes, the access and the limit; gravest first."""

from __future__ import annotations

from fractions import Fraction

import pytest
from msgspec.structs import replace

from cubital import facts
from cubital.model import Accept, Ask, Line, Order, Patient, Test, Tube
from cubital.planning import Planner
from cubital.planning.cautions import standing
from tests.published.shipped import SHIPPED, order_of, patient_of, site_of_kinds, site_under, verified


def said(order: Order, level: str) -> list[str]:
    return [caution.text for caution in verified(order, SHIPPED).cautions if caution.level == level]


@pytest.mark.parametrize(
    ("flags", "level", "words"),
    [
        (("not-fasting",), "stop", "the patient is not fasting; ask before drawing"),
        (("Fed",), "stop", "the patient is not fasting"),
        ((), "warn", "ask whether the patient is fasting"),
    ],
)
def test_a_fasting_test_asks_what_is_not_known_and_stops_at_what_is(
    flags: tuple[str, ...], level: str, words: str
) -> None:
    assert any(words in text for text in said(order_of("homocysteine", patient=Patient(flags=flags)), level))


def test_a_fasting_patient_is_not_asked_again() -> None:
    fasting = order_of("homocysteine", patient=Patient(flags=("fasting",)))
    assert not any("fasting; ask" in text or "ask whether" in text for text in said(fasting, "warn"))
    assert not any("fasting" in text for text in said(fasting, "stop"))


@pytest.mark.parametrize("flag", ["latex", "Latex allergy", "latex_allergy", " LATEX-ALLERGY "])
def test_a_flag_is_known_by_its_spellings(flag: str) -> None:
    texts = said(order_of("cbc", patient=Patient(flags=(flag,))), "warn")
    assert facts.flags()["latex-allergy"].text in texts


def test_a_flag_that_nobody_knows_is_shown_as_it_was_written() -> None:
    assert "flag 'moon-dust' is not known here: read it and act on it" in said(
        order_of("cbc", patient=Patient(flags=("moon-dust",))), "warn"
    )


def test_what_was_not_understood_is_shown() -> None:
    assert "not understood and not used: note.text" in said(order_of("cbc", unread=("note.text",)), "warn")


def test_every_known_flag_has_its_caution_in_the_plan() -> None:
    for flag in facts.flags().values():
        plan = verified(order_of("cbc", patient=Patient(flags=(flag.key,))), SHIPPED)
        assert (flag.level, flag.text) in [(c.level, c.text) for c in plan.cautions]


def test_a_test_asked_by_two_panels_is_said_to_be_drawn_once() -> None:
    found = verified(order_of("basic-metabolic-panel", "comprehensive-metabolic-panel"), SHIPPED)
    assert any("drawn once" in c.text for c in found.cautions)
    assert len([t for tube in found.tubes for t in tube.tests if t == "potassium"]) == 1


def test_the_skin_of_a_culture_is_prepared_by_its_own_rule() -> None:
    text = facts.safety()["skin-culture"].text
    assert text in said(order_of("blood-culture"), "warn")
    assert text not in said(order_of("cbc"), "warn")


def test_a_line_says_what_is_not_known_of_it() -> None:
    unknown = order_of("prothrombin-time", access="line")
    assert any("dead space of the line not known" in text for text in said(unknown, "stop"))
    assert any("carried anticoagulant: taken as if" in text for text in said(unknown, "warn"))
    known = replace(unknown, line=Line(dead_space_ul=500, carried_anticoagulant=True))
    assert not any("dead space" in text for text in said(known, "stop"))
    assert not any("carried anticoagulant" in text for text in said(known, "warn"))
    no_ratio = order_of("cbc", access="line", line=Line(dead_space_ul=500))
    assert not any("carried anticoagulant" in text for text in said(no_ratio, "warn"))


@pytest.mark.parametrize(("spare_ul", "is_reached"), [(0, True), (1, False)])
def test_a_draw_that_reaches_the_limit_says_nothing_more_today(spare_ul: int, is_reached: bool) -> None:
    free = verified(order_of("cbc", patient=patient_of(10, 2)), SHIPPED)
    drawn_ul = (free.totals.limit_ul or 0) - free.totals.all_blood_ul - spare_ul
    texts = said(order_of("cbc", patient=patient_of(10, 2, drawn_ul=drawn_ul)), "warn")
    assert any("reaches the blood limit" in text for text in texts) is is_reached


def test_without_a_limit_the_plan_says_that_none_was_checked_and_why() -> None:
    assert "no blood limit was checked: the weight is not known" in said(order_of("cbc"), "warn")


def test_cautions_come_gravest_first_and_each_once() -> None:
    order = Order(
        asks=tuple(Ask(test=test) for test in ("homocysteine", "prothrombin-time", "iron", "lipid-panel")),
        patient=Patient(flags=("not-fasting", "latex")), access="line",
    )  # fmt: skip
    cautions = verified(order, SHIPPED).cautions
    levels = [("stop", "warn", "note").index(c.level) for c in cautions]
    assert levels == sorted(levels)
    assert len(set(cautions)) == len(cautions)
    assert {0, 1, 2} == set(levels)


def test_the_standing_cautions_stand_beside_every_plan_even_an_empty_one() -> None:
    patient = patient_of(60, 40, drawn_ul=10_000_000)
    empty = verified(order_of("cbc", patient=patient), SHIPPED)
    assert empty.tubes == ()
    texts = {c.text for c in empty.cautions}
    assert {c.text for c in facts.safety().values() if c.when == "always"} <= texts
    assert empty.cautions[0].text.startswith("left out of this draw: complete-blood-count")


def test_minimum_volumes_are_said_with_their_reason() -> None:
    asked = said(order_of("cbc", objective="least-blood"), "warn")
    assert any("the least blood was asked for" in text for text in asked)


def test_spin_and_handling_of_a_tube_follow_its_tests() -> None:
    site = site_under("common-practice")
    cold, plain, twice, whole = (
        verified(order_of(test), site).tubes[0] for test in ("ammonia", "potassium", "lupus-anticoagulant", "cbc")
    )
    assert cold.spin is not None
    assert cold.spin.endswith(" 4 C")
    assert plain.spin is not None
    assert plain.spin.endswith("20-25 C")
    assert twice.spin is not None
    assert twice.spin.startswith("twice, ")
    assert whole.spin is None


def test_a_warm_serum_clots_and_spins_at_37_degrees_and_no_cooler() -> None:
    warm = verified(order_of("cryoglobulin"), SHIPPED).tubes[0]
    assert warm.clot_s == 3600
    assert warm.spin is not None
    assert warm.spin.endswith(" 37 C")
    plastic = replace(SHIPPED, kinds={k: v for k, v in SHIPPED.kinds.items() if k != "serum-glass"})
    also = verified(order_of("cryoglobulin"), plastic).tubes[0]
    assert (also.kind, also.clot_s, also.spin) == ("serum", warm.clot_s, warm.spin)


@pytest.mark.parametrize(("test", "is_said"), [("ch50", True), ("ammonia", False), ("potassium", False)])
def test_serum_on_ice_is_said_to_clot_late(test: str, is_said: bool) -> None:
    assert any("clots late: wait for a firm clot" in text for text in said(order_of(test), "warn")) is is_said


def winged(tests: tuple[str, ...], draw_ul: int) -> list[str]:
    """What a plan warns of where heparin gel comes in this size alone."""
    kind = replace(SHIPPED.kinds["heparin-gel"], sizes=(Tube(draw_ul=draw_ul),))
    accept = Accept(matrix="plasma", tubes=("heparin-gel",), volume_ul=100, minimum_ul=50)
    chemistry = {t: Test(key=t, name=f"invented, {t}", bench="bench", accepts=(accept,)) for t in tests}
    site = replace(SHIPPED, kinds={"heparin-gel": kind}, tests=chemistry, panels={}, ambiguous={})
    order = order_of(*tests, access="winged-set", patient=Patient(hematocrit=Fraction(1, 2)))
    return [c.text for c in verified(order, site).cautions if c.level == "warn" and "winged set" in c.text]


def test_a_first_tube_that_the_air_of_a_winged_set_leaves_short_of_its_tests_is_warned_of() -> None:
    # 500 uL of air: of a draw of 1 168 uL are left 668, which yield floor(668 * 0.5 * 0.9) - 200 = 100 uL.
    assert winged(("a",), 1168) == []
    (short,) = winged(("a",), 1165)
    assert "may fill only to 0.665 mL" in short
    assert "yields 0.099 mL of plasma and its tests need 0.1 mL" in short


def test_a_tube_behind_a_discard_or_a_straight_needle_is_not_short_of_air() -> None:
    for access, tests in (("winged-set", ("prothrombin-time", "cmp")), ("straight-needle", ("cmp",))):
        assert not any("air in the line" in t for t in said(order_of(*tests, access=access), "warn"))


def test_the_tourniquet_is_said_where_there_is_one() -> None:
    text = facts.safety()["tourniquet"].text
    for access in ("straight-needle", "winged-set", "syringe", "line", "skin-puncture"):
        here = order_of("cbc", access=access, line=Line(dead_space_ul=500) if access == "line" else Line())
        assert (text in said(here, "note")) is (access not in ("line", "skin-puncture"))


def test_what_stands_beside_every_plan_is_brief_and_holds_the_three_that_matter() -> None:
    beside = " ".join(c.text for c in standing())
    assert len(beside) <= 200
    for word in ("Decision support", "local procedure", "tube instructions", "licensed practice",
                 "Two identifiers", "Label at the patient"):  # fmt: skip
        assert word in beside


def test_a_plan_never_says_two_ways_of_preparing_the_skin() -> None:
    plan = verified(order_of("ethanol"), SHIPPED)
    assert "no_alcohol_prep" in plan.tubes[0].handling
    assert not any("alcohol for 30 s" in c.text for c in plan.cautions)


def test_citrate_is_said_to_need_adjusting_only_where_the_hematocrit_is_high_or_likely_so() -> None:
    usual = verified(order_of("prothrombin-time", patient=Patient(hematocrit=Fraction(4, 10))), SHIPPED)
    high = verified(order_of("prothrombin-time", patient=Patient(hematocrit=Fraction(6, 10))), SHIPPED)
    assert not any("0.55" in c.text for c in usual.cautions)
    assert [c.level for c in high.cautions if "0.55" in c.text] == ["stop"]


def test_a_site_s_own_inversions_and_fill_go_before_the_shipped_ones() -> None:
    site = site_of_kinds("common-practice")
    own = replace(site.kinds["citrate"], inversions=4, fill_min_percent=95)
    bare = replace(site.kinds["citrate"], fill_min_percent=None)
    found = [
        verified(order_of("citrate"), replace(site, kinds={**site.kinds, "citrate": kind})).tubes[0]
        for kind in (own, bare)
    ]
    assert [(tube.inversions, tube.fill_min_percent) for tube in found] == [(4, 95), (5, 90)]


@pytest.mark.parametrize(("age_h", "level"), [(None, "warn"), (1460, "warn"), (1461, "note"), (8766 * 40, "note")])
def test_the_skin_of_a_culture_warns_only_to_two_months_of_age(age_h: int | None, level: str) -> None:
    order = order_of("blood-culture", patient=Patient(age_h=age_h, weight_g=5000))
    assert facts.safety()["skin-culture"].text in said(order, level)


def test_plans_of_two_ages_do_not_share_the_skin_of_a_culture() -> None:
    planner = Planner(SHIPPED)
    levels = [
        next(c.level for c in planner.plan(order).cautions if c.text == facts.safety()["skin-culture"].text)
        for order in (order_of("blood-culture", patient=Patient(age_h=age_h, weight_g=5000)) for age_h in (1000, 2000))
    ]
    assert levels == ["warn", "note"]


@pytest.mark.parametrize("access", ["line", "skin-puncture"])
def test_who_draws_from_a_line_or_a_heel_is_not_told_of_fists_and_tourniquets(access: str) -> None:
    vein = verified(order_of("K", "lactate"), SHIPPED)
    assert {"no_fist", "no_tourniquet"} <= {term for tube in vein.tubes for term in tube.handling}
    other = verified(order_of("K", "lactate", access=access, line=Line(dead_space_ul=500)), SHIPPED)
    assert not {"no_fist", "no_tourniquet"} & {term for tube in other.tubes for term in tube.handling}
    assert "ice" in {term for tube in other.tubes for term in tube.handling}


def test_a_high_hematocrit_says_how_much_citrate_the_tube_should_hold() -> None:
    """0.9 mL on 0.1 at 0.62 by hand. A: 0.1 - 0.00185 x 38 x 0.9 = 0.037; B to the mark: 0.1 - 38 / 533 = 0.029."""
    order = order_of("PT", patient=Patient(hematocrit=Fraction(62, 100)))
    assert [tube.draw_ul for tube in verified(order, SHIPPED).tubes] == [900]
    text = next(text for text in said(order, "stop") if "By the published formulas" in text)
    for words in (
        "0.9 mL tube: take out 0.029 to 0.037 mL of its 0.1 mL of citrate", "0.037 by formula A, whose V is the blood",
        "put in 0.9 mL, measured, which ends 0.037 mL under the mark", "0.029 by formula B", "fill to the mark",
    ):  # fmt: skip
        assert words in text
    assert facts.safety()["small-citrate-tube"].text in said(order, "warn")
    told = next(c for c in verified(order, SHIPPED).cautions if "By the published formulas" in c.text)
    assert {"clsi-h21-2024", "fritsma", "clsi-h21-2008"} <= set(told.sources)
    edge = order_of("PT", patient=Patient(hematocrit=Fraction(55, 100)))
    assert not any("citrate" in text for text in said(edge, "stop"))


@pytest.mark.parametrize(("carried", "warned"), [(None, True), (True, True), (False, False)])
def test_coagulation_from_a_line_that_may_have_carried_heparin_asks_for_a_vein(
    carried: bool | None, warned: bool
) -> None:
    order = order_of("PT", access="line", line=Line(dead_space_ul=500, carried_anticoagulant=carried))
    assert (facts.safety()["line-coagulation"].text in said(order, "warn")) is warned


def test_a_large_draw_of_a_child_asks_for_no_adult_s_hematocrit() -> None:
    """38 % is what a research board expects of adults (michigan-2022); a healthy child of four may have 34 %."""
    found = said(order_of("blood-culture", patient=patient_of(16, 4)), "warn")
    assert any("look at the last hemoglobin" in text for text in found)
    assert not any("38 %" in text for text in found)


SIZES = "Tube sizes and test volumes that the site has not filled in are typical, from memory: put your own."


@pytest.mark.parametrize("tests", [("sodium",), ("sodium", "hemoglobin", "prothrombin-time", "blood-culture")])
def test_that_sizes_are_the_sites_to_fill_in_is_said_once_and_at_no_tube(tests: tuple[str, ...]) -> None:
    plan = verified(order_of(*tests, patient=patient_of(50, 70)), SHIPPED)
    assert [(c.level, c.about) for c in plan.cautions if c.text == SIZES] == [("note", "plan")]
    assert not [r for tube in plan.tubes for r in tube.reasons if "fill" in r.text and "put your own" in r.text]


def test_a_site_that_filled_in_its_own_sizes_and_volumes_is_not_told() -> None:
    kinds = {key: replace(kind, basis="site", source="site") for key, kind in SHIPPED.kinds.items()}
    tests = {key: replace(test, basis={}) for key, test in SHIPPED.tests.items()}
    own = replace(SHIPPED, kinds=kinds, tests=tests)
    assert SIZES not in [c.text for c in Planner(own).plan(order_of("sodium")).cautions]
    half = replace(own, tests=SHIPPED.tests)
    assert SIZES in [c.text for c in Planner(half).plan(order_of("sodium")).cautions]

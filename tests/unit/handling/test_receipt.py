"""What is accepted, commented or refused when a specimen arrives; what nobody looked at is never taken for good."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from msgspec.structs import replace

from cubital.errors import ReceiptError
from cubital.facts.keeping import checks
from cubital.handling.keeping import POLICIES, PolicyKey
from cubital.handling.receipt import Arrival, Judgement, LabelSeen, excuse, holds_for_whole
from cubital.handling.receipt_checks import judge
from cubital.handling.record import state_of
from cubital.model.specimen import AnyEvent, Stored
from tests.contract.events import MORNING, collected, received, said
from tests.published.shipped import SHIPPED

GOOD_LABEL = LabelSeen(agree=2, has_time=True, has_collector=True)
GOOD = Arrival(
    at=MORNING + timedelta(minutes=30), label=GOOD_LABEL, is_expired=False, is_clotted=False, fill_percent=100,
    has_leaked=False, was_open=False, was_dark=True, after_min=720,
    indices={"hemolysis": Decimal(0), "lipemia": Decimal(0), "icterus": Decimal(0)},
)  # fmt: skip


def at(minutes: float) -> datetime:
    return MORNING + timedelta(minutes=minutes)


def judged(
    kind: str, *tests: str, matrix: str = "plasma", policy: PolicyKey = "strict", events: tuple[AnyEvent, ...] = (),
    tube: dict[str, Any] | None = None, **seen: Any,
) -> dict[str, Judgement]:  # fmt: skip
    of = SHIPPED.kinds[kind]
    told = {"kind": kind, "additive": of.additive, "gel": of.gel, "matrix": matrix, "tests": tests, **(tube or {})}
    specimen = state_of([collected("a", **told), *events])
    found = judge(specimen, SHIPPED, replace(GOOD, **seen), policy=policy)
    return {judgement.test: judgement for judgement in found}


def one(kind: str, test: str, **given: Any) -> Judgement:
    return judged(kind, test, **given)[test]


def checks_of(judgement: Judgement) -> list[str]:
    return [reason.about for reason in judgement.reasons]


def label(**changed: Any) -> LabelSeen:
    return replace(GOOD_LABEL, **changed)


def test_a_good_specimen_is_plainly_accepted() -> None:
    found = one("heparin-gel", "sodium")
    assert (found.outcome, found.wording, found.reasons, found.untold) == ("accept", "", (), ())


@pytest.mark.parametrize(
    ("seen", "check"),
    [
        (None, "identifiers"),
        (label(agree=1), "identifiers"),
        (label(agree=0), "identifiers"),
        (label(differ=1), "label-mismatch"),
        (label(labels=2), "two-labels"),
        (label(labels=2, labels_agree=False), "two-labels"),
    ],
)
@pytest.mark.parametrize("policy", POLICIES)
def test_a_fault_of_identity_refuses_every_test_and_says_so(
    seen: LabelSeen | None, check: str, policy: PolicyKey
) -> None:
    for found in judged("heparin-gel", "sodium", "potassium", label=seen, policy=policy).values():
        assert found.outcome == "refuse"
        assert found.is_identity
        assert check in checks_of(found)
        assert "cannot be corrected afterwards" in found.wording


def test_two_labels_that_were_read_and_agree_are_a_comment() -> None:
    found = one("heparin-gel", "sodium", label=label(labels=2, labels_agree=True))
    assert (found.outcome, checks_of(found), found.is_identity) == ("comment", ["second-label"], False)


def test_no_time_and_no_collector_are_comments_and_for_a_blood_bank_a_refusal() -> None:
    assert one("heparin-gel", "sodium", label=label(has_time=False)).outcome == "comment"
    assert one("heparin-gel", "sodium", label=label(has_collector=False)).outcome == "comment"
    kind = next(k for a in SHIPPED.tests["abo-rh-group"].accepts for k in a.tubes if k in SHIPPED.kinds)
    bank = one(kind, "abo-rh-group", matrix="whole-blood", label=label(has_collector=False))
    assert (bank.outcome, checks_of(bank)) == ("refuse", ["collector"])


def test_each_test_is_judged_by_itself() -> None:
    found = judged("heparin-gel", "sodium", "lithium", "complete-blood-count")
    assert {key: judgement.outcome for key, judgement in found.items()} == {
        "sodium": "accept", "lithium": "refuse", "complete-blood-count": "refuse",
    }  # fmt: skip
    assert checks_of(found["lithium"]) == ["wrong-tube"]
    assert "heparin-gel, which the test does not accept" in found["lithium"].wording


def test_a_right_tube_in_the_wrong_matrix_is_refused() -> None:
    found = one("edta", "bnp", matrix="whole-blood")
    assert "whole-blood of edta; it needs plasma" in found.wording


@pytest.mark.parametrize(
    ("field", "check"), [("is_expired", "expired"), ("is_clotted", "clotted")]
)  # fmt: skip
def test_an_expired_or_a_clotted_tube_is_refused_for_every_test(field: str, check: str) -> None:
    seen: dict[str, Any] = {field: True}
    both = judged("edta", "complete-blood-count", "hemoglobin-a1c", matrix="whole-blood", **seen)
    assert {found.outcome for found in both.values()} == {"refuse"}
    assert all(checks_of(found) == [check] for found in both.values())


def test_serum_is_meant_to_clot() -> None:
    assert one("serum-gel", "sodium", matrix="serum", is_clotted=True).outcome == "accept"


@pytest.mark.parametrize(("percent", "outcome"), [(90, "accept"), (89, "refuse"), (130, "accept")])
def test_citrate_is_full_to_ninety_percent_or_refused(percent: int, outcome: str) -> None:
    assert one("citrate", "prothrombin-time", fill_percent=percent).outcome == outcome


@pytest.mark.parametrize(
    ("test", "percent", "outcome"),
    [
        ("prothrombin-time", 60, "comment"),
        ("prothrombin-time", 59, "refuse"),
        ("activated-partial-thromboplastin-time", 70, "comment"),
        ("activated-partial-thromboplastin-time", 69, "refuse"),
        ("fibrinogen", 89, "refuse"),
    ],
)
def test_the_extended_policy_goes_as_low_as_a_study_did(test: str, percent: int, outcome: str) -> None:
    # Adcock 1998, 3.2 % citrate: PT to 60 %, aPTT to 70 %.
    found = one("citrate", test, fill_percent=percent, policy="extended")
    assert found.outcome == outcome
    if outcome == "comment":
        assert found.reasons[0].sources == ("adcock-1998",)


def test_a_tube_that_is_asked_full_but_not_for_a_ratio_gets_a_comment() -> None:
    tube = (Stored(storage="ice", **said("a", "ice", at=at(1))),)
    assert one("edta", "ammonia", events=tube, at=at(14), fill_percent=80).outcome == "comment"
    assert one("edta", "ammonia", events=tube, at=at(14)).outcome == "accept"


def test_a_leak_or_an_open_tube_refuses_what_must_stay_closed() -> None:
    assert one("heparin-gel", "sodium", has_leaked=True).outcome == "comment"
    assert one("heparin-gel", "sodium", was_open=True).outcome == "accept"
    assert one("heparin-gel", "bicarbonate", has_leaked=True).outcome == "refuse"
    assert checks_of(one("heparin-gel", "bicarbonate", was_open=True)) == ["opened"]


def test_light_refuses_what_is_wrapped_and_comments_where_the_site_extends() -> None:
    assert one("heparin-gel", "vitamin-b12", was_dark=False).outcome == "refuse"
    assert one("heparin-gel", "vitamin-b12", was_dark=False, policy="extended").outcome == "comment"
    assert one("heparin-gel", "total-bilirubin", was_dark=False).outcome == "accept"
    assert one("heparin-gel", "sodium", was_dark=False).outcome == "accept"


def test_age_refuses_the_test_that_is_over_and_not_the_other() -> None:
    found = judged("citrate", "prothrombin-time", "fibrinogen", at=at(300))
    assert found["prothrombin-time"].outcome == "accept"
    assert (found["fibrinogen"].outcome, checks_of(found["fibrinogen"])) == ("refuse", ["age"])
    assert "on the cells at room temperature: 4 h; it is 5 h after the draw" in found["fibrinogen"].wording


def test_both_sides_of_the_edge_of_age() -> None:
    assert one("heparin-gel", "sodium", at=at(120)).outcome == "accept"
    assert one("heparin-gel", "sodium", at=at(120) + timedelta(seconds=1)).outcome == "refuse"


def test_the_extended_policy_says_which_stricter_limit_is_passed_and_how_far_the_value_moved() -> None:
    found = one("heparin-gel", "lactate-dehydrogenase", at=at(6 * 60), policy="extended")
    assert found.outcome == "comment"
    assert "over the stricter limit (on the cells at room temperature: 2 h)" in found.wording
    assert "+1 % on the mean by 10 h (henriksen-2014)" in found.wording


def test_what_came_chilled_is_refused_where_it_must_not_be_chilled() -> None:
    found = judged("heparin-gel", "potassium", "sodium", came="ice")
    assert (found["potassium"].outcome, checks_of(found["potassium"])) == ("refuse", ["storage"])
    assert found["sodium"].outcome == "accept"


def test_what_came_in_the_room_and_belonged_on_ice_is_refused() -> None:
    assert one("edta", "ammonia", at=at(10)).outcome == "refuse"
    assert one("edta", "ammonia", at=at(10), came="ice").outcome == "accept"


def test_a_specimen_of_which_no_source_speaks_gets_a_comment_that_says_so() -> None:
    found = one("citrate", "fibrinogen", came="cold")
    assert (found.outcome, checks_of(found)) == ("comment", ["keeping"])
    assert "no source says how long it keeps as on the cells at 2-8 C" in found.wording


def test_too_little_refuses_the_test_and_less_than_all_need_is_a_comment() -> None:
    assert one("heparin-gel", "sodium", usable_ul=9).outcome == "refuse"
    assert one("heparin-gel", "sodium", usable_ul=10).outcome == "accept"
    both = judged("heparin-gel", "sodium", "potassium", usable_ul=19)
    assert {found.outcome for found in both.values()} == {"comment"}
    assert "19 uL of 20 uL for all tests" in both["sodium"].wording


@pytest.mark.parametrize("field", ["is_expired", "is_clotted", "has_leaked"])
def test_what_nobody_looked_at_is_a_comment_and_named(field: str) -> None:
    found = one("heparin-gel", "sodium", **{field: None})
    assert found.outcome == "comment"
    assert found.wording.startswith("Not stated at receipt: whether ")
    assert len(found.untold) == 1


def test_indices_that_are_not_measured_yet_are_named_and_do_not_hold_it_up() -> None:
    found = one("heparin-gel", "sodium", indices={})
    assert found.outcome == "accept"
    assert found.untold == ("hemolysis: not measured", "lipemia: not measured", "icterus: not measured")


def test_an_index_without_a_known_limit_is_a_comment_not_a_guess() -> None:
    found = one("heparin-gel", "thyrotropin", indices={"lipemia": Decimal(3), "hemolysis": Decimal("0.6")})
    assert found.outcome == "comment"
    assert "An index was measured of which no limit is known: hemolysis 0.6 g/L." in found.wording
    assert "An index was measured of which no limit is known: lipemia 3." in found.wording
    assert one("heparin-gel", "thyrotropin", indices={"hemolysis": Decimal("0.5")}).outcome == "accept"


def test_a_test_that_the_site_does_not_know_is_never_plainly_accepted() -> None:
    assert one("heparin-gel", "house-test").outcome == "comment"


REFUSED = Judgement(test="sodium", outcome="refuse", wording="Too old.")


def test_two_people_may_make_an_exception_for_what_cannot_be_drawn_again() -> None:
    found = excuse(REFUSED, irreplaceable="drawn with the cerebrospinal fluid", by="A", second="B", why="asked by ward")
    assert found.outcome == "comment"
    assert found.wording.endswith("Too old.")
    assert found.reasons[-1].about == "exception"
    assert "A and B: asked by ward" in found.reasons[-1].text


@pytest.mark.parametrize(
    ("changed", "said_words"),
    [
        ({"irreplaceable": None}, "can be drawn again"),
        ({"second": " a "}, "one person"),
        ({"second": ""}, "one person"),
        ({"why": " "}, "no reason"),
    ],
)
def test_an_exception_needs_two_people_a_reason_and_an_irreplaceable_specimen(
    changed: dict[str, Any], said_words: str
) -> None:
    given = {"irreplaceable": "cord blood", "by": "A", "second": "B", "why": "asked", **changed}
    with pytest.raises(ReceiptError, match=said_words):
        excuse(REFUSED, **given)


def test_identity_is_never_excused() -> None:
    with pytest.raises(ReceiptError, match="no exception is made"):
        excuse(replace(REFUSED, is_identity=True), irreplaceable="cord blood", by="A", second="B", why="asked")


def test_what_is_accepted_needs_no_exception() -> None:
    fine = replace(REFUSED, outcome="accept")
    assert excuse(fine, irreplaceable=None, by="A", second="A", why="") is fine


def test_every_check_has_its_wording_and_identity_holds_for_the_whole_tube() -> None:
    assert {key for key, check in checks().items() if check.is_identity} == {
        "identifiers",
        "label-mismatch",
        "two-labels",
    }
    assert all(check.is_whole for check in checks().values() if check.is_identity)
    found = one("heparin-gel", "sodium", label=None)
    assert [holds_for_whole(reason) for reason in found.reasons] == [True]
    assert not holds_for_whole(one("heparin-gel", "lithium").reasons[0])


def test_an_arrival_before_the_collection_is_refused() -> None:
    with pytest.raises(ReceiptError, match="before the collection"):
        one("heparin-gel", "sodium", at=MORNING - timedelta(minutes=1))


def test_a_discarded_specimen_has_nothing_to_judge() -> None:
    specimen = replace(state_of([collected("a"), received("a")]), discarded_at=at(5))
    assert judge(specimen, SHIPPED, GOOD) == ()


def test_a_verdict_of_the_record_carries_wording_and_reasons() -> None:
    found = one("heparin-gel", "lithium")
    assert (found.verdict.test, found.verdict.outcome) == ("lithium", "refuse")
    assert found.verdict.reasons == found.reasons


def test_labels_that_are_said_to_differ_are_two_however_many_were_counted() -> None:
    assert one("heparin-gel", "sodium", label=label(labels_agree=False)).is_identity
    assert checks_of(one("heparin-gel", "sodium", label=label(labels_agree=True))) == ["second-label"]


@pytest.mark.parametrize(("minutes", "check"), [(14, "carried"), (31, "age")])
def test_where_nobody_said_that_it_came_on_ice_the_report_says_so_and_not_that_it_was_warm(
    minutes: int, check: str
) -> None:
    found = one("edta", "ammonia", at=at(minutes))
    assert (found.outcome, checks_of(found)) == ("refuse", [check])
    assert ("nobody said that it came on ice" in found.wording) == (check == "carried")


def test_a_lipemia_or_icterus_without_a_limit_is_not_called_lipemic_or_icteric() -> None:
    found = one("heparin-gel", "sodium", indices={**GOOD.indices, "lipemia": Decimal("3")})
    assert (found.outcome, checks_of(found)) == ("comment", ["index"])
    assert found.wording == "An index was measured of which no limit is known: lipemia 3."


def test_a_little_hemolysis_without_a_limit_is_named_and_does_not_hold_it_up() -> None:
    found = one("heparin-gel", "thyrotropin", indices={**GOOD.indices, "hemolysis": Decimal("0.3")})
    assert (found.outcome, found.untold) == ("accept", ("hemolysis of 0.3 g/L: no limit is known for every test",))

"""Whether a test can be added to what is there: yes, yes with a comment, or no, each with its reason."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from msgspec.structs import replace

from cubital.handling.addon import Held, Offer, free_ul, offers_of
from cubital.handling.keeping import PolicyKey
from cubital.handling.receipt_checks import judge
from cubital.handling.record import begin, pour, state_of
from cubital.model.specimen import Added, AnyEvent, Discarded, Judged, Reported, Specimen, Spun, Stored
from tests.contract.events import MORNING, aliquoted, collected, received, said
from tests.published.shipped import SHIPPED
from tests.unit.handling.test_receipt import GOOD, label

HOUR = timedelta(hours=1)


def spun(id: str, minutes: int = 40) -> Spun:
    return Spun(rcf_g=1500, spin_s=600, temperature_c=20, **said(id, "spun", at=MORNING + timedelta(minutes=minutes)))


def stored(id: str, storage: Any, minutes: int = 45) -> Stored:
    return Stored(storage=storage, **said(id, f"stored-{storage}", at=MORNING + timedelta(minutes=minutes)))


def tube(
    id: str, kind: str, *tests: str, matrix: str = "plasma", events: Sequence[AnyEvent] = (), **told: Any
) -> Specimen:
    """A tube that was received at 20 min, its waiting tests accepted."""
    of = SHIPPED.kinds[kind]
    drawn = collected(
        id, kind=kind, additive=of.additive, gel=of.gel, matrix=matrix, tests=tests, **{"patient": "p", **told}
    )
    in_time = MORNING + timedelta(minutes=20)
    specimen = state_of([drawn, received(id, at=in_time)])
    verdicts = tuple(found.verdict for found in judge(specimen, SHIPPED, GOOD))
    accepted = Judged(verdicts=verdicts, **said(id, "judged", at=in_time))
    return state_of([drawn, received(id, at=in_time), accepted, *events])


def gel(id: str = "g", *events: AnyEvent, **told: Any) -> Specimen:
    return tube(id, "heparin-gel", "sodium", events=(spun(id), *events), **told)


def offer(
    test: str, *specimens: Specimen, after: timedelta = 2 * HOUR, policy: PolicyKey = "strict", **held: Any
) -> Offer:
    found = offers_of(
        SHIPPED.tests[test], [Held(specimen=s, **held) for s in specimens], SHIPPED, now=MORNING + after, policy=policy
    )
    return found[0]


def why(found: Offer) -> str:
    return "; ".join(reason.text for reason in found.reasons)


def test_yes_says_which_and_how_much_is_left_beyond_what_others_need() -> None:
    found = offer("creatinine", gel())
    assert (found.outcome, found.specimen, found.takes_ul) == ("accept", "g", 3)
    assert found.left_ul == 1000 - 10 - 3


def test_what_waiting_tests_need_is_not_given_away() -> None:
    nearly = gel(usable_ul=12)
    assert free_ul(nearly, SHIPPED) == 2
    found = offer("creatinine", nearly)
    assert found.outcome == "refuse"
    assert "2 uL left beyond what its waiting tests need; it takes 3 uL" in why(found)
    done = gel("g", Reported(test="sodium", volume_ul=9, **said("g", "reported", at=MORNING + HOUR)), usable_ul=12)
    assert offer("creatinine", done).outcome == "accept"


@pytest.mark.parametrize(
    ("test", "specimen", "words"),
    [
        ("complete-blood-count", gel(), "heparin-gel, which the test does not accept"),
        ("lithium", gel(), "which the test does not accept"),
        ("sodium", gel(), "asked of this specimen already"),
        ("lactate-dehydrogenase", gel(), "no age and no storage"),
        ("hemoglobin-a1c", tube("w", "edta", "bnp", events=(spun("w"),)), "plasma of edta; it needs whole-blood"),
        ("bicarbonate", gel("g", Reported(test="sodium", volume_ul=9, **said("g", "r", at=MORNING + HOUR))), "opened"),
    ],
)
def test_no_says_why(test: str, specimen: Specimen, words: str) -> None:
    found = offer(test, specimen)
    assert found.outcome == "refuse"
    assert words in why(found)


def test_a_spun_tube_gives_no_whole_blood() -> None:
    whole = tube("w", "edta", "complete-blood-count", matrix="whole-blood", events=(spun("w"),))
    assert "the tube has been spun" in why(offer("hemoglobin-a1c", whole))


def test_blood_that_was_not_spun_gives_plasma_by_its_hematocrit_with_a_comment() -> None:
    whole = tube("w", "edta", "complete-blood-count", matrix="whole-blood", hematocrit=Fraction(45, 100))
    found = offer("bnp", whole, after=HOUR)
    assert found.outcome == "comment"
    assert "spin it first, after complete-blood-count on whole blood" in why(found)
    assert found.takes_ul == 112  # 55 uL of plasma at 0.55 x 0.9 a uL, rounded up
    blind = tube("w", "edta", "complete-blood-count", matrix="whole-blood")
    assert "the hematocrit is not recorded" in why(offer("bnp", blind, after=HOUR))


def test_age_and_storage_decide_by_policy() -> None:
    assert offer("troponin-i", gel(), after=8 * HOUR).outcome == "accept"
    assert offer("troponin-i", gel(), after=9 * HOUR).outcome == "refuse"
    assert offer("troponin-i", gel("g", stored("g", "cold")), after=9 * HOUR).outcome == "accept"
    assert "no source says" in why(offer("prolactin", gel("g", stored("g", "warm")), after=9 * HOUR))


def test_plasma_left_on_its_cells_is_refused_by_its_age_on_them() -> None:
    plain = tube("p", "heparin", "sodium", events=(spun("p"),))
    assert offer("chloride", plain, after=1.5 * HOUR).outcome == "accept"
    assert offer("chloride", plain, after=3 * HOUR).outcome == "refuse"
    assert offer("chloride", gel(), after=3 * HOUR).outcome == "accept"


def test_times_in_two_storages_that_nobody_adds_are_a_comment_where_the_site_extends() -> None:
    there_and_back = gel("g", stored("g", "cold", 24 * 60))
    later = timedelta(days=4)
    assert offer("alanine-aminotransferase", there_and_back, after=later).outcome == "refuse"
    found = offer("alanine-aminotransferase", there_and_back, after=later, policy="extended")
    assert found.outcome == "comment"
    assert "no source says how its times" in why(found)


def refused_label(id: str) -> Specimen:
    specimen = gel(id)
    bad = judge(specimen, SHIPPED, replace(GOOD, label=label(agree=1)))
    return replace(specimen, verdicts={found.test: found.verdict for found in bad})


def test_a_tube_whose_identity_failed_gives_nothing_nor_does_its_aliquot() -> None:
    bad = refused_label("g")
    found = offer("creatinine", bad)
    assert (found.outcome, found.reasons[0].about) == ("refuse", "identifiers")
    aliquot = begin(pour(bad, aliquoted("g", "g-1", tests=(), at=MORNING + HOUR)))
    both = offers_of(
        SHIPPED.tests["creatinine"], [Held(specimen=bad), Held(specimen=aliquot)], SHIPPED, now=MORNING + 2 * HOUR
    )
    assert {one.outcome for one in both} == {"refuse"}


def test_a_tube_with_a_comment_on_all_of_it_keeps_the_comment() -> None:
    specimen = gel()
    leaked = judge(specimen, SHIPPED, replace(GOOD, has_leaked=True))
    found = offer("creatinine", replace(specimen, verdicts={one.test: one.verdict for one in leaked}))
    assert (found.outcome, why(found)) == ("comment", "it had leaked")


def test_a_test_that_was_refused_of_it_is_not_added_to_it() -> None:
    late = judge(gel(), SHIPPED, replace(GOOD, usable_ul=1))
    found = offer("sodium", replace(gel(), verdicts={one.test: one.verdict for one in late}))
    assert "it was refused of this specimen" in why(found)


def test_what_nobody_has_received_is_a_comment() -> None:
    found = offer("creatinine", state_of([collected("n", tests=("sodium",)), spun("n")]), after=HOUR)
    assert "nobody has looked at it" in why(found)


def test_what_only_the_chair_knows_is_a_comment() -> None:
    fasting = tube("e", "edta", "parathyrin", events=(spun("e", 10),))
    assert "Ask whether the patient is fasting" in why(offer("insulin", fasting, after=timedelta(minutes=25)))
    timed = offer("cortisol", gel(), after=HOUR)
    assert timed.outcome == "comment"
    assert "its time counts" in why(timed)
    assert "kept from light" in why(offer("vitamin-b12", gel(), after=HOUR))


def test_a_blood_bank_takes_only_what_was_labelled_by_hand() -> None:
    kind = next(k for a in SHIPPED.tests["direct-antiglobulin-test"].accepts for k in a.tubes if k in SHIPPED.kinds)
    group = SHIPPED.tests["abo-rh-group"]
    assert not group.own_tube or "shares a tube" in why(
        offer("abo-rh-group", tube("b", kind, "direct-antiglobulin-test"))
    )
    house = replace(group, own_tube=False)
    site = replace(SHIPPED, tests={**SHIPPED.tests, "abo-rh-group": house})
    held = [Held(specimen=tube("b", kind, "direct-antiglobulin-test", matrix="whole-blood"))]
    found = offers_of(house, held, site, now=MORNING + HOUR)[0]
    assert (found.outcome, why(found)) == ("refuse", "it was not labelled by hand at the bedside")


def test_a_hemolyzed_specimen_is_judged_by_its_index() -> None:
    assert offer("potassium", gel(), indices={"hemolysis": Decimal(6)}).outcome == "refuse"
    assert offer("potassium", gel(), indices={"hemolysis": Decimal("0.6")}).outcome == "refuse"
    told = offer("potassium", gel(), indices={"hemolysis": Decimal("0.5")})
    assert (told.outcome, "red cells set potassium free" in why(told)) == ("comment", True)
    assert "red cells" not in why(offer("potassium", gel(), indices={"hemolysis": Decimal("0.4")}))


def test_a_viral_load_is_never_added_to_a_tube_that_a_counter_opens_or_has_opened() -> None:
    # J Clin Virol 2014;60:172 (abstract read): 6 of 149 negative samples were positive for hepatitis C RNA after a
    # fixed needle. Whether the counter has had the tube no event shows, so a count that waits is as one that is done.
    counted: dict[str, Any] = {"matrix": "whole-blood", "hematocrit": Fraction(45, 100)}
    for test in ("hiv-viral-load", "hepatitis-c-viral-load", "hepatitis-b-viral-load", "cytomegalovirus-dna"):
        found = offer(test, tube("w", "edta", "complete-blood-count", **counted), after=HOUR)
        assert (found.outcome, found.reasons[0].about) == ("refuse", "opened"), test
        assert "complete-blood-count opens it first, or has" in why(found)
        assert found.reasons[0].sources == ("fixed-needle-2014",)
    assert offer("bnp", tube("w", "edta", "complete-blood-count", **counted), after=HOUR).outcome == "comment"


def test_a_viral_load_is_added_beside_another_one_that_keeps_the_tube_closed_too() -> None:
    molecular = tube("v", "edta-gel", "hiv-viral-load", events=(spun("v"),), usable_ul=3000)
    assert offer("hepatitis-c-viral-load", molecular).outcome == "accept"
    released = Reported(test="hiv-viral-load", volume_ul=900, **said("v", "reported", at=MORNING + HOUR))
    opened = tube("v", "edta-gel", "hiv-viral-load", events=(spun("v"), released), usable_ul=3000)
    assert "opened for other tests" in why(offer("hepatitis-c-viral-load", opened))


def test_the_best_offer_stands_first_and_discarded_specimens_offer_nothing() -> None:
    hers, small = gel("a"), gel("b", usable_ul=300)
    gone = gel("c", Discarded(why="done", **said("c", "gone", at=MORNING + HOUR)))
    found = offers_of(
        SHIPPED.tests["creatinine"], [Held(specimen=s) for s in (small, hers, gone)], SHIPPED, now=MORNING + 2 * HOUR
    )
    assert [one.specimen for one in found] == ["a", "b"]


def test_an_added_test_waits_and_takes_its_share() -> None:
    added = gel("g", Added(tests=("creatinine",), **said("g", "added", at=MORNING + HOUR)))
    assert free_ul(added, SHIPPED) == 1000 - 10 - 3

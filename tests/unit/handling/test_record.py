"""What a specimen's events leave it in, and which cannot follow."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import msgspec
import pytest

from cubital.errors import ImpossibleEvent
from cubital.handling.record import begin, follow, pour, state_of
from cubital.model.plan import Reason
from cubital.model.specimen import (
    Added,
    Aliquoted,
    AnyEvent,
    Collected,
    Discarded,
    Judged,
    Received,
    Reported,
    Specimen,
    Spun,
    Stored,
    Verdict,
)

NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)


def said(minutes: int = 0) -> dict[str, Any]:
    return {"key": f"k{minutes}", "specimen": "s1", "at": NOON + timedelta(minutes=minutes), "by": "b", "station": "c"}


def collected(**changed: Any) -> Collected:
    told = {
        "patient": "p", "kind": "heparin-gel", "additive": "lithium-heparin", "gel": True, "matrix": "plasma",
        "draw_ul": 3000, "usable_ul": 1000, "tests": ("potassium", "sodium"), **said(),
    }  # fmt: skip
    return Collected(**{**told, **changed})


def received(minutes: int = 5) -> Received:
    return Received(**said(minutes))


def judged(outcome: Any = "accept", test: str = "potassium", minutes: int = 6) -> Judged:
    return Judged(verdicts=(Verdict(test=test, outcome=outcome),), **said(minutes))


def test_a_collection_makes_a_specimen_with_all_of_its_usable_volume() -> None:
    specimen = begin(collected())
    assert (specimen.left_ul, specimen.tests, specimen.storage) == (1000, ("potassium", "sodium"), "ambient")
    assert (specimen.is_separated, specimen.events) == (False, 1)


def test_what_was_poured_off_a_gel_tube_is_spun_like_any_other_tube() -> None:
    spun = Spun(rcf_g=1300, spin_s=600, temperature_c=20, **said(40))
    parted = state_of([collected(), received(), spun])
    aliquot = begin(pour(parted, Aliquoted(child="s2", volume_ul=300, tests=("potassium",), **said(50))))
    again = Spun(rcf_g=2000, spin_s=600, temperature_c=20, **{**said(60), "specimen": "s2"})
    assert len(follow(aliquot, again).spins) == 2
    assert follow(aliquot, again).separated_at == spun.at


def test_blood_that_was_poured_out_of_an_unspun_gel_tube_has_no_gel_to_part_it() -> None:
    aliquot = begin(pour(begin(collected()), Aliquoted(child="s2", volume_ul=300, tests=("potassium",), **said(10))))
    spun = Spun(rcf_g=1300, spin_s=600, temperature_c=20, **{**said(40), "specimen": "s2"})
    assert follow(aliquot, spun).separated_at is None


def test_a_gel_tube_is_separated_once_spun_and_cannot_be_spun_again() -> None:
    spun = Spun(rcf_g=1300, spin_s=600, temperature_c=20, **said(40))
    specimen = state_of([collected(), received(), spun])
    assert specimen.is_separated
    with pytest.raises(ImpossibleEvent, match="gel tube spun before"):
        follow(specimen, spun)


def test_a_tube_without_gel_is_not_separated_by_its_spin_alone() -> None:
    spun = Spun(rcf_g=1300, spin_s=600, temperature_c=20, **said(40))
    specimen = follow(state_of([collected(gel=False), received(), spun]), spun)
    assert (specimen.is_separated, len(specimen.spins)) == (False, 2)


def test_a_report_uses_volume_and_is_given_once() -> None:
    reported = Reported(test="potassium", volume_ul=100, **said(60))
    specimen = state_of([collected(), received(), judged(), reported])
    assert (specimen.left_ul, specimen.reported, specimen.events) == (900, ("potassium",), 4)
    with pytest.raises(ImpossibleEvent, match="reported before"):
        follow(specimen, reported)


@pytest.mark.parametrize(
    ("before", "event", "said_why"),
    [
        ([], Received(usable_ul=6001, **said(5)), "6001 uL usable, expected 0 to 6000 uL"),
        ([], Received(usable_ul=-1, **said(5)), "-1 uL usable"),
        ([], judged(), "not received"),
        ([received()], received(6), "received before"),
        ([received()], judged(test="iron"), "a verdict on iron"),
        ([received()], Reported(test="potassium", volume_ul=10, **said(9)), "no verdict"),
        ([received(), judged("refuse")], Reported(test="potassium", volume_ul=10, **said(9)), "the verdict refuse"),
        ([received(), judged()], Reported(test="potassium", volume_ul=1001, **said(9)), "at most the 1000 uL left"),
        ([received(), judged()], Reported(test="potassium", volume_ul=-1, **said(9)), "-1 uL taken"),
        ([received(), judged()], Reported(test="iron", volume_ul=1, **said(9)), "iron reported"),
        ([Stored(storage="cold", **said(30))], Stored(storage="frozen", **said(29)), "older than the last move"),
        ([], Added(tests=("sodium",), **said(9)), "already asked"),
        ([], Added(tests=(), **said(9)), "no test to add"),
        ([], Aliquoted(child="s1", volume_ul=1, **said(9)), "named s1"),
        ([], Aliquoted(child="a", volume_ul=1001, **said(9)), "at most the 1000 uL left"),
        ([], Aliquoted(child="a", volume_ul=1, tests=("iron",), **said(9)), "an aliquot for iron"),
        ([Aliquoted(child="a", volume_ul=1, **said(9))], Aliquoted(child="a", volume_ul=1, **said(9)), "named a"),
        ([Discarded(why="leaked", **said(9))], received(10), "discarded at 2026-03-02 12:09 UTC"),
        ([], collected(), "collected before"),
        ([], Stored(storage="cold", **said(-1)), "an instant after its collection"),
    ],
)
def test_an_event_that_cannot_follow_is_refused_with_the_reason(
    before: list[AnyEvent], event: AnyEvent, said_why: str
) -> None:
    specimen = state_of([collected(), *before])
    with pytest.raises(ImpossibleEvent, match=said_why):
        follow(specimen, event)


def test_a_reported_test_is_not_refused_afterwards() -> None:
    reported = Reported(test="potassium", volume_ul=100, **said(60))
    specimen = state_of([collected(), received(), judged(), reported])
    with pytest.raises(ImpossibleEvent, match="potassium was reported"):
        follow(specimen, judged("refuse", minutes=70))
    assert follow(specimen, judged("comment", minutes=70)).verdicts["potassium"].outcome == "comment"


def test_a_refusal_for_identity_stands_after_another_refusal_of_the_same_test() -> None:
    reason = Reason(about="label-mismatch", text="1 differs", basis="common-practice", sources=("common-practice",))
    verdict = Verdict(test="potassium", outcome="refuse", reasons=(reason,))
    found = state_of((collected(), received(), Judged(verdicts=(verdict,), **said(6)), judged("refuse", minutes=7)))
    assert found.verdicts["potassium"] == verdict
    for test in ("potassium", "sodium"):
        with pytest.raises(ImpossibleEvent, match="refused for its identity, which stands"):
            follow(found, judged("accept", test=test, minutes=8))


def test_a_receipt_corrects_the_volume_of_an_underfilled_tube() -> None:
    assert state_of([collected(), Received(usable_ul=400, **said(5))]).left_ul == 400


def test_an_aliquot_keeps_the_patient_the_clock_and_the_verdicts_of_its_tests() -> None:
    parent = state_of([collected(access="line"), received(), judged(), judged("comment", "sodium", 7)])
    event = Aliquoted(child="a1", volume_ul=300, tests=("potassium",), **said(50))
    child = begin(pour(parent, event))
    assert (child.id, child.parent, child.patient, child.collected_at) == ("a1", "s1", "p", NOON)
    assert child.access == "line"
    assert (child.left_ul, set(child.verdicts), child.is_separated) == (300, {"potassium"}, False)
    assert (follow(parent, event).left_ul, follow(parent, event).children) == (700, ("a1",))


def test_the_first_event_of_a_specimen_is_its_collection() -> None:
    with pytest.raises(ImpossibleEvent, match="it comes first"):
        state_of([received()])
    with pytest.raises(ImpossibleEvent, match="no event"):
        state_of([])


@pytest.mark.parametrize(
    ("changed", "said_why"),
    [
        ({"tests": ()}, "carries no test"),
        ({"draw_ul": 0}, "of a draw of 0 uL"),
        ({"usable_ul": -1}, "-1 uL usable"),
        ({"usable_ul": 6001}, "6001 uL usable"),
        ({"at": datetime(2026, 3, 2, 12, 0)}, "aware instant in UTC"),
        ({"at": datetime(2026, 3, 2, 12, 0, tzinfo=timezone(timedelta(hours=1)))}, "aware instant in UTC"),
    ],
)
def test_a_collection_that_cannot_be_is_refused(changed: dict[str, Any], said_why: str) -> None:
    with pytest.raises(ImpossibleEvent, match=said_why):
        begin(collected(**changed))


def test_an_event_of_another_specimen_is_refused() -> None:
    with pytest.raises(ImpossibleEvent, match="it names s2"):
        follow(begin(collected()), Received(key="x", specimen="s2", at=NOON, by="b", station="c"))


def test_events_and_the_state_survive_a_trip_through_bytes() -> None:

    parent = state_of([collected(), received(), judged()])
    event = pour(parent, Aliquoted(child="a1", volume_ul=300, tests=("potassium",), **said(50)))
    assert msgspec.json.decode(msgspec.json.encode(event), type=AnyEvent) == event
    assert isinstance(event.aliquot, Specimen)


def test_an_additive_that_nobody_knows_is_refused_so_that_no_board_fails_on_it() -> None:
    with pytest.raises(ImpossibleEvent, match="found the additive 'honey'"):
        begin(collected(additive="honey"))


def test_an_aliquot_written_down_late_knows_no_spin_and_no_move_that_came_after_it() -> None:
    for gel in (True, False):
        spun = Spun(rcf_g=1500, spin_s=600, temperature_c=20, **said(40))
        cold = Stored(storage="cold", **said(50))
        parent = state_of([collected(gel=gel), received(), spun, cold])
        early = begin(pour(parent, Aliquoted(child="a1", volume_ul=100, tests=("potassium",), **said(30))))
        assert (early.spins, early.stays, early.separated_at) == ((), (), None)
        late = begin(pour(parent, Aliquoted(child="a2", volume_ul=100, tests=("potassium",), **said(60))))
        assert len(late.spins) == len(late.stays) == 1
        assert late.separated_at == (spun.at if gel else NOON + timedelta(minutes=60))

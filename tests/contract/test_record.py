"""What a record promises, whichever database holds it."""

from __future__ import annotations

from datetime import timedelta, timezone
from decimal import Decimal
from fractions import Fraction
from typing import get_args

import pytest
from msgspec.structs import replace

from cubital.app.record import CLOCK_TOLERANCE_S, SpecimenRecord
from cubital.app.record_care import check_record
from cubital.app.wiring import open_record, open_store
from cubital.errors import ClockSetBack, ImpossibleEvent, KeyReused, LostRace, RecordError
from cubital.handling.chain import EMPTY, seal, specimen_of
from cubital.handling.record import begin, pour, state_of
from cubital.model.record import ClockTrusted, Step
from cubital.model.specimen import AnyEvent, Poured, Specimen, Spun, Verdict
from cubital.model.writable import RULES
from cubital.store import record as record_module
from tests.contract.events import (
    MORNING,
    Clock,
    aliquoted,
    collected,
    discarded,
    in_order,
    judged,
    received,
    reported,
    said,
)  # fmt: skip

SPUN = Spun(rcf_g=1800, spin_s=600, temperature_c=21, **said("s1", "spun"))


def test_what_is_recorded_is_read_back_as_it_was(record: SpecimenRecord) -> None:
    event = collected("s1", hematocrit=Fraction(9, 20), irreplaceable="drawn with cerebrospinal fluid")
    said = record.append(Step(event=event, expected=0))
    assert [entry.content for entry in said.entries] == [event]
    assert said.specimens == (state_of([event]),)
    assert record.specimen("s1") == said.specimens[0]
    assert record.history("s1") == said.entries
    assert record.find(event.key) == said.entries[0]


def test_a_specimen_that_nobody_recorded_is_none_and_has_no_history(record: SpecimenRecord) -> None:
    assert record.specimen("s1") is None
    assert record.history("s1") == ()
    assert record.find("k") is None
    assert (record.head().sequence, record.head().recorded_at) == (0, None)
    assert record.append().entries == ()


def test_entries_are_numbered_without_a_gap_and_name_their_batch(record: SpecimenRecord) -> None:
    record.append(*in_order(collected("s1"), received("s1")))
    record.append(*in_order(collected("s2")))
    assert [(e.sequence, e.batch, e.version) for e in record.since(0)] == [(1, 1, 1), (2, 1, 2), (3, 3, 1)]
    assert [e.sequence for e in record.since(1, limit=1)] == [2]
    assert record.head().hash == record.since(2)[0].hash


def test_of_two_stations_that_saw_the_same_state_one_wins_and_the_other_is_told(
    record: SpecimenRecord, clock: Clock
) -> None:
    record.append(*in_order(collected("s1")))
    clock.pass_s(30)
    record.append(*in_order(received("s1", station="night"), after=1))
    with pytest.raises(LostRace, match="at night was first, it was received at 2026-03-02 07:00:30 UTC") as lost:
        record.append(*in_order(received("s1", station="day"), after=1))
    told = (lost.value.specimen, lost.value.expected, lost.value.found, lost.value.by, lost.value.station)
    assert told == ("s1", 1, 2, "bench-1", "night")
    assert (lost.value.at, lost.value.did) == (clock.at, "received")
    assert record.head().sequence == 2


def test_two_collections_of_one_name_are_a_race_too(record: SpecimenRecord) -> None:
    record.append(*in_order(collected("s1")))
    with pytest.raises(LostRace, match="was collected"):
        record.append(*in_order(collected("s1", key="other")))


def test_a_writer_that_names_more_events_than_there_are_is_refused(record: SpecimenRecord) -> None:
    record.append(*in_order(collected("s1")))
    with pytest.raises(ImpossibleEvent, match="found 1 events of it, 2 named"):
        record.append(*in_order(received("s1"), after=2))


def test_a_retry_changes_nothing_and_gets_the_first_answer(record: SpecimenRecord) -> None:
    steps = in_order(collected("s1"), received("s1"), aliquoted("s1", "a1"))
    first = record.append(*steps)
    record.append(*in_order(judged("s1"), after=3))
    again = record.append(*steps)
    assert (again.entries, again.specimens) == (first.entries, first.specimens)
    assert (first.is_repeat, again.is_repeat) == (False, True)
    assert record.head().sequence == 5


def test_a_key_that_stands_for_something_else_is_refused(record: SpecimenRecord) -> None:
    record.append(*in_order(collected("s1")))
    with pytest.raises(KeyReused, match="entry 1 for another event"):
        record.append(*in_order(collected("s1", usable_ul=900)))
    with pytest.raises(KeyReused, match="one key for two events"):
        record.append(*in_order(received("s1", key="k"), judged("s1", key="k"), after=1))
    assert record.head().sequence == 1


def test_a_request_of_which_a_part_was_recorded_is_refused(record: SpecimenRecord) -> None:
    record.append(*in_order(collected("s1")))
    with pytest.raises(KeyReused, match="1 of 2 keys"):
        record.append(*in_order(collected("s1"), received("s1")))
    assert record.head().sequence == 1


def test_a_batch_with_one_impossible_event_leaves_nothing(record: SpecimenRecord) -> None:
    with pytest.raises(ImpossibleEvent, match="no verdict"):
        record.append(*in_order(collected("s1"), received("s1"), reported("s1")))
    assert record.head().sequence == 0
    assert record.open_specimens() == ()


def test_an_aliquot_is_two_events_of_one_batch(record: SpecimenRecord) -> None:
    record.append(*in_order(collected("s1"), received("s1"), judged("s1")))
    event = aliquoted("s1", "a1", 200)
    said = record.append(*in_order(event, after=3))
    parent, child = said.specimens
    assert (parent.left_ul, parent.children, child.left_ul, child.parent) == (800, ("a1",), 200, "s1")
    assert [(e.batch, type(e.content).__name__) for e in said.entries] == [(4, "Aliquoted"), (4, "Poured")]
    assert record.specimen("a1") == child
    assert child.verdicts["potassium"].outcome == "accept"


def test_an_aliquot_cannot_take_the_name_of_another_specimen(record: SpecimenRecord) -> None:
    record.append(*in_order(collected("s1")))
    record.append(*in_order(collected("s2")))
    with pytest.raises(LostRace, match="specimen s2: cannot be poured"):
        record.append(*in_order(aliquoted("s1", "s2"), after=1))
    assert record.head().sequence == 2


def test_an_aliquot_without_the_aliquoting_of_its_parent_is_refused(record: SpecimenRecord) -> None:
    before = record.append(*in_order(collected("s1"))).specimens[0]
    with pytest.raises(ImpossibleEvent, match="an aliquot on its own"):
        record.append(Step(event=pour(before, aliquoted("s1", "a1")), expected=0))


def test_a_key_that_an_aliquot_would_take_is_refused(record: SpecimenRecord) -> None:
    event = aliquoted("s1", "a1", key="k")
    record.append(*in_order(collected("s1", key="k/a1")))
    with pytest.raises(KeyReused):
        record.append(*in_order(event, after=1))


def test_an_aliquot_of_a_tube_refused_later_is_neither_accepted_nor_reported(record: SpecimenRecord) -> None:
    record.append(*in_order(collected("s1"), received("s1"), judged("s1"), aliquoted("s1", "a1")))
    record.append(*in_order(aliquoted("a1", "a2", 100), after=1))
    record.append(*in_order(judged("s1", "refuse", "potassium"), after=4))
    for aliquot, seen in (("a1", 2), ("a2", 1)):
        with pytest.raises(ImpossibleEvent, match="potassium refused of s1"):
            record.append(*in_order(reported(aliquot), after=seen))
        with pytest.raises(ImpossibleEvent, match="potassium refused of s1"):
            record.append(*in_order(judged(aliquot, "accept", "potassium"), after=seen))
    record.append(*in_order(judged("s1", "comment", "potassium"), after=5))
    assert record.append(*in_order(reported("a2"), after=1)).specimens[0].reported == ("potassium",)


def test_open_specimens_are_those_with_a_test_that_nothing_has_settled(record: SpecimenRecord) -> None:
    record.append(*in_order(collected("s1"), received("s1"), judged("s1"), reported("s1"), reported("s1", "sodium")))
    record.append(*in_order(collected("s2"), received("s2"), judged("s2", "refuse")))
    record.append(*in_order(collected("s3"), received("s3"), aliquoted("s3", "a3")))
    record.append(*in_order(collected("s4"), discarded("s4")))
    record.append(*in_order(collected("s5", tests=("potassium",)), aliquoted("s5", "a5")))
    assert {one.id for one in record.open_specimens()} == {"s3", "a3", "a5"}
    assert {one.id for one in record.kept_specimens()} == {"s1", "s2", "s3", "a3", "s5", "a5"}


def test_the_specimens_of_a_patient_come_oldest_first_discarded_ones_too(record: SpecimenRecord) -> None:
    later = MORNING - timedelta(minutes=1)
    record.append(*in_order(collected("s2", patient="p", at=later), aliquoted("s2", "a2"), discarded("s2")))
    record.append(*in_order(collected("s1", patient="p", at=later - timedelta(hours=1))))
    record.append(*in_order(collected("s3", patient="q")))
    assert [one.id for one in record.specimens_of("p")] == ["s1", "a2", "s2"]
    assert record.specimens_of("nobody") == ()


def test_a_clock_a_little_behind_is_let_pass_and_marked(record: SpecimenRecord, clock: Clock) -> None:
    clock.pass_s(CLOCK_TOLERANCE_S)
    record.append(*in_order(collected("s1")))
    clock.pass_s(-CLOCK_TOLERANCE_S)
    (entry,) = record.append(*in_order(received("s1"), after=1)).entries
    assert (entry.recorded_at, entry.behind_us) == (MORNING + timedelta(seconds=60), 60_000_000)
    assert record.since(0)[0].behind_us == 0


def test_a_clock_set_back_is_refused_said_clearly_and_loses_nothing(record: SpecimenRecord, clock: Clock) -> None:
    record.append(*in_order(collected("s1")))
    clock.pass_s(-3600)
    with pytest.raises(ClockSetBack, match="this clock at 2026-03-02 06:00:00 UTC, the last entry at 2026-03-02 07:00"):
        record.append(*in_order(received("s1", at=clock.at), after=1))
    assert [e.sequence for e in record.since(0)] == [1]
    clock.pass_s(3600)
    assert record.append(*in_order(received("s1"), after=1)).specimens[0].events == 2


def test_a_step_back_in_small_steps_is_refused_where_it_passes_the_tolerance(
    record: SpecimenRecord, clock: Clock
) -> None:
    record.append(*in_order(collected("s1")))
    clock.pass_s(-40)
    record.append(*in_order(received("s1", at=MORNING), after=1))
    clock.pass_s(-40)
    with pytest.raises(ClockSetBack):
        record.append(*in_order(judged("s1"), after=2))


def test_a_person_can_vouch_for_a_clock_that_had_been_ahead(record: SpecimenRecord, clock: Clock) -> None:
    clock.pass_s(10 * 365 * 86400)
    record.append(*in_order(collected("s1")))
    clock.pass_s(-10 * 365 * 86400)
    word = {"key": "t", "by": "chief", "station": "reception", "why": "the year had been wrong"}
    said = record.trust_clock(**word)
    assert said.entries[0].recorded_at == MORNING
    again = record.trust_clock(**word)
    assert (again.entries, again.is_repeat) == (said.entries, True)
    with pytest.raises(KeyReused):
        record.trust_clock(**{**word, "why": "another reason"})
    assert record.append(*in_order(collected("s2"))).entries[0].behind_us == 0


def test_nobody_vouches_for_a_clock_that_is_not_behind(record: SpecimenRecord) -> None:
    record.append(*in_order(collected("s1")))
    with pytest.raises(RecordError, match="nothing to vouch for"):
        record.trust_clock(key="t", by="chief", station="reception", why="to be sure")
    assert record.head().sequence == 1


def test_an_event_ahead_of_the_clock_is_refused_and_one_within_the_tolerance_is_not(record: SpecimenRecord) -> None:
    ahead = MORNING + timedelta(seconds=CLOCK_TOLERANCE_S)
    with pytest.raises(ImpossibleEvent, match="ahead of it"):
        record.append(*in_order(collected("s1", at=ahead + timedelta(seconds=1))))
    assert record.append(*in_order(collected("s1", at=ahead))).specimens[0].collected_at == ahead


def test_an_event_written_down_late_keeps_both_instants(record: SpecimenRecord) -> None:
    earlier = MORNING - timedelta(hours=2)
    (entry,) = record.append(*in_order(collected("s1", at=earlier))).entries
    assert (entry.content.at, entry.recorded_at, entry.delay_s) == (earlier, MORNING, 7200)


UNPLAIN = ("", " s1", "s\x001", "s\n1", "s" * 201, "s\u202e1", "s\u2066", "s\ud800", "s\u0661", "s\uff11", "s\u200b1")
NO_NUMBERS = (-50, 10**30, float("nan"), float("inf"), 5.0, True, "5", Decimal(5))


@pytest.mark.parametrize("handle", UNPLAIN)
@pytest.mark.parametrize("field", ["specimen", "key", "by", "station", "patient", "order", "kind"])
def test_a_handle_that_cannot_be_written_down_plainly_is_refused(
    record: SpecimenRecord, handle: str, field: str
) -> None:
    event = replace(collected("s1"), **{field: handle})
    with pytest.raises(ImpossibleEvent, match=f"found another {field}; expected 1 to 200 printable characters"):
        record.append(*in_order(event))
    assert record.head().sequence == 0


@pytest.mark.parametrize("number", NO_NUMBERS)
@pytest.mark.parametrize(
    ("event", "field"),
    [
        (collected("s1"), "draw_ul"), (received("s1"), "usable_ul"), (aliquoted("s1", "a1"), "volume_ul"),
        (reported("s1"), "volume_ul"), (judged("s1"), "fill_percent"), (SPUN, "rcf_g"), (SPUN, "spin_s"),
        (SPUN, "temperature_c"), (collected("s1"), "hematocrit"),
    ],
)  # fmt: skip
def test_a_number_that_nobody_measured_is_refused(
    record: SpecimenRecord, event: AnyEvent, field: str, number: object
) -> None:
    record.append(*in_order(collected("s1", key="first")))
    with pytest.raises(ImpossibleEvent, match=f"found another {field}; expected .*; nothing was recorded"):
        record.append(*in_order(replace(event, **{field: number}), after=1))
    assert record.head().sequence == 1


@pytest.mark.parametrize(
    ("event", "field", "value"),
    [
        (discarded("s1"), "why", ""), (discarded("s1"), "why", "gone\u202eenog"), (discarded("s1"), "why", "n\x00"),
        (collected("s1"), "irreplaceable", " "), (collected("s1"), "tests", ("k", "")),
        (collected("s1"), "tests", "ab"),
        (collected("s1"), "matrix", "soup"), (collected("s1"), "gel", 1), (collected("s1"), "access", "straw"),
        (judged("s1"), "second", ""), (judged("s1"), "verdicts", ()),
        (judged("s1"), "verdicts", (Verdict(test="potassium", outcome="perhaps"),)),  # type: ignore[arg-type]
        (judged("s1"), "verdicts", (Verdict(test="potassium", outcome="accept", wording="\u0661"),)),
        (judged("s1"), "indices", {"hemolysis": Decimal("NaN")}), (judged("s1"), "indices", {"hemolysis": Decimal(-1)}),
        (judged("s1"), "indices", {"colour": Decimal(1)}), (collected("s1"), "at", MORNING.replace(tzinfo=None)),
        (collected("s1"), "at", MORNING.astimezone(timezone(timedelta(hours=1)))),
    ],
)  # fmt: skip
def test_what_the_prompt_refuses_the_record_refuses_too(
    record: SpecimenRecord, event: AnyEvent, field: str, value: object
) -> None:
    with pytest.raises(ImpossibleEvent, match=f"found another {field}; expected"):
        record.append(*in_order(replace(event, **{field: value})))
    assert record.head().sequence == 0


def test_every_field_of_every_event_has_a_rule() -> None:
    kinds = [*get_args(AnyEvent), ClockTrusted, Verdict]
    named = {name for kind in kinds if kind is not Poured for name in kind.__struct_fields__}
    assert named == set(RULES)


def test_whoever_vouches_for_a_clock_is_named_plainly_too(record: SpecimenRecord, clock: Clock) -> None:
    record.append(*in_order(collected("s1")))
    clock.pass_s(-7200)
    with pytest.raises(ImpossibleEvent, match="found another by"):
        record.trust_clock(key="k", by="chief\u202e", station="reception", why="the year was wrong")


def test_a_record_of_looser_days_stays_readable(record: SpecimenRecord, address: str, clock: Clock) -> None:
    event = collected("s1", irreplaceable="\u0661\u0660 g", order="O\u0661")
    link = seal(EMPTY, event, batch=1, version=1, now=MORNING)
    store = open_store(address)
    with store.writing() as writing:
        writing.append((link,), (begin(event),))
    assert check_record(store).faults == ()
    store.close()
    assert record.append(*in_order(received("s1"), after=1)).specimens[0].order == "O\u0661"


def test_the_longest_handles_are_kept_whole_even_in_an_aliquot(record: SpecimenRecord) -> None:
    name, child, key = "s" * 200, "a" * 200, "k" * 200
    record.append(*in_order(collected(name, key="c", patient="p"), aliquoted(name, child, key=key)))
    assert record.history(child)[0].content.key == f"{key}/{child}"


def test_a_second_connection_sees_what_the_first_was_answered(
    record: SpecimenRecord, address: str, clock: Clock
) -> None:
    said = record.append(*in_order(collected("s1"), aliquoted("s1", "a1")))
    other = open_record(address, now=clock)
    assert other.since(0) == said.entries
    assert isinstance(other.history("a1")[0].content, Poured)
    other.close()


def test_draws_are_asked_for_by_their_date_and_no_older_one_is_read(
    address: str, record: SpecimenRecord, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    for day in range(5):
        at = MORNING + timedelta(days=day)
        clock.at = at
        record.append(*in_order(collected(f"s{day}", at=at)))
    record.append(*in_order(aliquoted("s4", "a4", at=MORNING + timedelta(days=4)), after=1))
    record.append(*in_order(discarded("s3", at=MORNING + timedelta(days=4)), after=1))
    read: list[str] = []

    def noting(body: str) -> Specimen:
        read.append(body)
        return specimen_of(body)

    monkeypatch.setattr(record_module, "specimen_of", noting)
    assert [one.id for one in record.drawn_since(MORNING + timedelta(days=3))] == ["s3", "s4"]
    assert len(read) == 2
    assert record.drawn_since(MORNING + timedelta(days=4, microseconds=1)) == ()

"""The chain of a record, its hashes computed here by hand from the description in the reference."""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime, timedelta
from fractions import Fraction

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cubital.errors import BrokenChain
from cubital.handling.chain import (
    EMPTY,
    NO_HASH,
    body_of,
    content_of,
    entry_of,
    event_of,
    head_of,
    meets,
    read_moment,
    say_moment,
    seal,
    specimen_of,
    walk,
)
from cubital.handling.record import begin, state_of
from cubital.model.record import ClockTrusted, Head, Link
from tests.contract.events import MORNING, collected, judged, received


def chain(count: int = 4) -> list[Link]:
    links: list[Link] = []
    head = EMPTY
    for number in range(count):
        now = MORNING + timedelta(seconds=number)
        links.append(seal(head, collected(f"s{number}"), batch=number + 1, version=1, now=now))
        head = head_of(links[-1])
    return links


def test_the_hash_is_the_sha_256_of_six_lines() -> None:
    first, second = chain(2)
    lines = [NO_HASH, "1", "1", "2026-03-02T07:00:00.000000Z", "0", first.body]
    assert first.hash == hashlib.sha256("\n".join(lines).encode()).hexdigest()
    lines = [first.hash, "2", "2", "2026-03-02T07:00:01.000000Z", "0", second.body]
    assert second.hash == hashlib.sha256("\n".join(lines).encode()).hexdigest()


def test_a_whole_chain_is_walked_from_its_start_or_from_a_known_head() -> None:
    links = chain()
    assert list(walk(links)) == links
    assert list(walk(links[2:], after=head_of(links[1]))) == links[2:]
    assert list(walk([])) == []


@pytest.mark.parametrize("field", ["sequence", "batch", "recorded_at", "behind_us", "key", "specimen", "body", "hash"])
def test_no_field_of_a_link_changes_unseen(field: str) -> None:
    links = chain()
    changed = getattr(links[1], field) + ("x" if isinstance(getattr(links[1], field), str) else 1)
    links[1] = msgspec.structs.replace(links[1], **{field: changed})
    with pytest.raises(BrokenChain) as broken:
        list(walk(links))
    assert broken.value.sequence == 2


def test_lines_cannot_be_shifted_between_the_fields_of_a_link() -> None:
    (link,) = chain(1)
    moved = msgspec.structs.replace(link, recorded_at=f"{link.recorded_at}\n0", body=link.body)
    with pytest.raises(BrokenChain):
        list(walk([moved]))


def test_a_noted_head_is_met_only_by_its_own_link() -> None:
    links = chain()
    meets(links[2], head_of(links[2]))
    meets(links[1], Head(sequence=3, hash="0" * 64))
    with pytest.raises(BrokenChain, match="as noted"):
        meets(links[2], Head(sequence=3, hash="0" * 64))


def test_a_clock_behind_takes_the_moment_of_the_head_and_says_so() -> None:
    link = seal(head_of(chain(1)[0]), received("s0"), batch=2, version=2, now=MORNING - timedelta(milliseconds=3))
    assert (read_moment(link.recorded_at), link.behind_us) == (MORNING, 3000)


def test_a_word_on_the_clock_takes_its_own_moment_and_is_no_event_of_a_specimen() -> None:
    earlier = MORNING - timedelta(days=1)
    word = ClockTrusted(key="k", at=earlier, by="b", station="c", why="w")
    link = seal(head_of(chain(1)[0]), word, batch=2, version=None, now=earlier)
    assert (read_moment(link.recorded_at), link.behind_us, link.specimen) == (earlier, 0, None)
    assert entry_of(link).content == word
    with pytest.raises(BrokenChain, match="a word on the clock"):
        event_of(link)


def test_a_body_is_one_line_and_the_same_each_time_and_is_read_back() -> None:
    event = collected("s1", hematocrit=Fraction(9, 20), irreplaceable="a\nb\u2028c")
    assert "\n" not in body_of(event)
    assert body_of(event) == body_of(content_of(body_of(event)))
    assert content_of(body_of(event)) == event
    state = state_of([event, received("s1"), judged("s1")])
    assert specimen_of(body_of(state)) == state


def test_a_collection_written_before_the_access_was_kept_is_one_of_which_it_is_not_known() -> None:
    body = body_of(collected("s1", access="line"))
    event = content_of(body.replace(',"access":"line"', ""))
    assert event == collected("s1")
    assert state_of([collected("s1", access="line")]).access == "line"
    assert state_of([event]).access is None


@pytest.mark.parametrize("body", ["", "{}", '{"event":"lost"}', '{"event":"received"}', "[1]", '"collected"'])
def test_a_body_that_says_no_event_is_refused(body: str) -> None:
    with pytest.raises(BrokenChain):
        content_of(body)
    with pytest.raises(BrokenChain, match="cubital db rebuild"):
        specimen_of(body)


def test_a_share_that_is_no_number_is_refused() -> None:
    with pytest.raises(BrokenChain):
        content_of(body_of(collected("s1", hematocrit=Fraction(1, 2))).replace("1/2", "1/0"))


@given(st.datetimes(min_value=datetime(2000, 1, 1), max_value=datetime(2200, 1, 1)))
def test_a_moment_is_read_back_and_sorts_as_text(moment: datetime) -> None:
    aware = moment.replace(tzinfo=UTC)
    assert read_moment(say_moment(aware)) == aware
    assert say_moment(aware) < say_moment(aware + timedelta(microseconds=1))


def test_states_of_a_specimen_are_told_apart() -> None:
    assert body_of(begin(collected("s1"))) != body_of(begin(collected("s2")))

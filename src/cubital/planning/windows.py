"""Whether a tube would be too old for a test when it is measured, or when its cells come off.

The bench judges what happened (`handling.stability`); this judges what would happen before anything is drawn, by the
same facts and the same two policies. A tube is taken to go where its test wants it at once: on ice, to 37 C, or into
the room. Serum clots on the way too. Pouring off, queues and the rest of the bench are not known here, so a tube that
is found too late is too late at the earliest that it could be ready; one that is not may still come late.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache, lru_cache
from typing import NamedTuple

from cubital import facts
from cubital.facts.keeping import KeepingClaim, StateKey, StorageKey, house_rules, keeping_claims
from cubital.model import Reason, Test, TubeKind
from cubital.model.vocabulary import WindowsKey
from cubital.planning.spins import WARM, spin_for

_WHERE: Mapping[StorageKey, str] = {"ambient": "at room temperature", "ice": "on ice", "warm": "at 37 C"}
# A sum of times is no better known than the least known of them.
_LESS_KNOWN = ("standard", "published", "common-practice", "computed", "memory")


class _Limit(NamedTuple):
    """How many seconds from the draw one source gives a test, or a study found it to hold or to have failed by."""

    seconds: int
    mark: facts.Mark


class _Ready(NamedTuple):
    """The earliest second after the draw at which a test can be measured or is off its cells, and what takes so long.

    `marks` are those of the times of clotting and of the spin.
    """

    seconds: int
    parts: tuple[str, ...]
    marks: tuple[facts.Mark, ...] = ()


def why_too_late(
    test: Test, kind: TubeKind, matrix: str, *, travel_min: int | None, windows: WindowsKey,
    kept: tuple[str, ...] | None = None,
) -> Reason | None:  # fmt: skip
    """Why a tube of this kind, drawn for this test and `travel_min` minutes on its way, would be too old for it.

    None where it is in time, and where that is not known: no travel time, or no source for this test, kind and place.
    `strict` holds it against the shortest time that a source gives, `extended` against the longest that was read.
    `kept` are the terms of handling by which the tube stands where these are not the test's own.
    """
    if travel_min is None:
        return None
    terms = test.handling if kept is None else kept
    return _why(test.key, test.name, terms, kind.name, kind.additive, kind.gel, matrix, travel_min, windows)


def words_all_too_late(test: Test, travel_min: int) -> str:
    """What to say where every kind that the test accepts would be too late."""
    return (
        f"{test.name}: with {travel_min} min on the way every kind that it accepts would be too late; "
        "ask the laboratory before the draw, and bring the tube sooner or spin it where it is drawn"
    )


def words_barely_in_time(test: Test, travel_min: int) -> str:
    """What to say where the tube of a test is in time by the extended windows and not by the site's strict ones."""
    return (
        f"{test.name}: with {travel_min} min on the way in time by the extended windows only, and this site keeps the "
        "strict ones; bring this tube first"
    )


@lru_cache(maxsize=20_000)
def _why(
    key: str, name: str, terms: tuple[str, ...], kind: str, additive: str, gel: bool, matrix: str, travel_min: int,
    windows: WindowsKey,
) -> Reason | None:  # fmt: skip
    is_spun = _is_spun(key, matrix)
    state: StateKey = "on-cells" if is_spun else "whole"
    storage: StorageKey = "warm" if WARM in terms else "ice" if "ice" in terms else "ambient"
    limit = _limit(key, facts.additives()[additive].family, state, storage, windows)
    if limit is None:
        return None
    # What is measured in whole blood waits for nothing at the bench, though its cells harm it as they do in a tube.
    spun = is_spun and matrix != "whole-blood"
    ready = _spun(additive, gel, terms, travel_min) if spun else _Ready(60 * travel_min, (_on_the_way(travel_min),))
    if ready.seconds <= limit.seconds:
        return None
    what = "off its cells" if spun else "at the bench"
    fresh = "on its cells" if is_spun else "as whole blood"
    text = (
        f"{name} in {kind} would be {what} {_minutes(ready.seconds)} min after the draw at the earliest "
        f"({', '.join(ready.parts)}); {fresh} {_WHERE[storage]} it keeps {_minutes(limit.seconds)} min "
        f"by the {windows} windows"
    )
    marks = (limit.mark, *ready.marks)
    basis = max((mark.basis for mark in marks), key=_LESS_KNOWN.index)
    return Reason(about="kind", text=text, basis=basis, sources=tuple(dict.fromkeys(mark.source for mark in marks)))


def _is_spun(key: str, matrix: str) -> bool:
    """Whether its time runs to the separation: by the facts, else by the matrix."""
    known = facts.stability().get(key)
    return matrix != "whole-blood" if known is None else known.separate_within_min is not None


def _spun(additive: str, gel: bool, terms: tuple[str, ...], travel_min: int) -> _Ready:
    """When the cells are off: the spin begins once the tube is there and its serum has clotted."""
    clot = facts.clotting(additive, gel, WARM in terms)
    spin = spin_for(facts.additives()[additive].family, gel, terms)
    begin_s, parts = 60 * travel_min, [_on_the_way(travel_min)]
    marks: list[facts.Mark] = []
    if clot is not None and clot.min_s > begin_s:
        begin_s, parts = clot.min_s, [f"{_minutes(clot.min_s)} min to clot"]
        marks.append(clot.marks[0])
    # Where no source gives a spin it takes its time too, but nobody knows which: none is counted.
    if spin is not None:
        parts.append(f"{spin.minutes} min of spin")
        marks.append(spin.marks[0])
    return _Ready(begin_s + (60 * spin.minutes if spin is not None else 0), tuple(parts), tuple(marks))


def _limit(key: str, family: str, state: StateKey, storage: StorageKey, windows: WindowsKey) -> _Limit | None:
    """How long fresh blood keeps for this test in this place; None where no source says.

    What a study held or failed stands for a limit only where no source sets one; under `extended` what was held may
    be longer than a limit. Nothing reaches a time by which it had failed.
    """
    limits = _table_limits(key, family, state, storage)
    held: list[_Limit] = []
    fails: list[_Limit] = []
    for claim in _claims_by_test().get(key, ()):
        if (claim.state, claim.storage) != (state, storage) or (claim.families and family not in claim.families):
            continue
        if claim.limit_min is not None:
            limits.append(_Limit(60 * claim.limit_min, claim.mark))
        elif claim.held_min is not None:
            held.append(_Limit(60 * claim.held_min, claim.mark))
        elif claim.fails_min is not None:
            fails.append(_Limit(60 * (claim.fails_min - 1), claim.mark))
    lasting = [*limits, *held] if windows == "extended" else limits or held
    if not lasting and not fails:
        return None
    # The first of equals, as the bench takes it.
    found = [max(lasting, key=_seconds) if windows == "extended" else min(lasting, key=_seconds)] if lasting else []
    limit = min((*found, *fails), key=_seconds)
    at_once_s = house_rules()["at_once"].at_most_s or 0
    return limit._replace(seconds=at_once_s) if limit.seconds == 0 and storage == "ambient" else limit


def _table_limits(key: str, family: str, state: StateKey, storage: StorageKey) -> list[_Limit]:
    known = facts.stability().get(key)
    if known is None or (known.families and family not in known.families):
        return []
    minutes: int | None = {"ambient": known.ambient_min, "ice": known.refrigerated_min}.get(storage)
    about: facts.KeptKey = "cold" if storage == "ice" else "ambient"
    if state == "on-cells":
        minutes, about = known.separate_within_min, "cells"
    return [] if minutes is None else [_Limit(60 * minutes, known.mark_of(about))]


@cache
def _claims_by_test() -> Mapping[str, tuple[KeepingClaim, ...]]:
    found: dict[str, tuple[KeepingClaim, ...]] = {}
    for claim in keeping_claims():
        for test in claim.tests:
            found[test] = (*found.get(test, ()), claim)
    return found


def _seconds(limit: _Limit) -> int:
    return limit.seconds


def _on_the_way(travel_min: int) -> str:
    return f"{travel_min} min on the way"


def _minutes(seconds: int) -> str:
    return f"{seconds / 60:g}"

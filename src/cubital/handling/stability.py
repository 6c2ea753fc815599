"""How long a test may be measured in a specimen, by source, policy and everywhere that the specimen has been.

A source says how long a specimen keeps in one state (whole, on its cells, off them) and one storage.
No source says how times in several storages add, so they are not added:

- `until` holds under either policy: the whole time of the state stays below the shortest limit of the
  storages that it was in. Whatever harm one storage does in that time, the others are stated to bear too.
- `ends`, in the extended policy alone, takes each storage by itself: the time in it below its own limit.
  From `until` to `ends` nobody knows, and whoever asks is told.

Time on the cells and off them is judged by the limits of each, as sources give them, where the cells came
off in time by the strictest. Where a study alone lengthens either, the two are not added either: `until`
then counts from the draw.

A storage that the specimen only passed through (`house_rules`) does not shorten `until`; time there counts
all the same. Frozen time is judged by its own limit and stops the others. Nothing is taken for granted
of temperature: a colder storage may be worse, and one that no source names is not known.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Literal, NamedTuple

from cubital import facts
from cubital.facts.keeping import StateKey, StorageKey, house_rules
from cubital.handling.keeping import PLACES, STATES, Limit, PolicyKey, Rules, rules_of
from cubital.model.specimen import Specimen
from cubital.model.test import Test

StandingKey = Literal["kept", "mixed", "unknown", "past"]


class Phase(NamedTuple):
    """In one storage from one second after the draw to another; None is until now."""

    storage: StorageKey
    start_s: int
    end_s: int | None


class Life(NamedTuple):
    """Where a specimen has been, and when its cells came off, in seconds after the draw.

    `is_separation_known` is false for plasma or serum of which nothing says when it was taken off.
    `has_gel` says that a gel took them off; `off_gel_s` is when it was poured off the gel, None while it is there.
    """

    phases: tuple[Phase, ...]
    separated_s: int | None = None
    is_separation_known: bool = True
    has_gel: bool = False
    off_gel_s: int | None = None


class Kept(NamedTuple):
    """Until when a test may be measured, in seconds after the draw; `limit` is what sets `until_s`.

    None is no end for as long as the specimen stays where it is. From `unknown_s` on no source says
    anything; `unknown` says of what.
    """

    until_s: int | None
    ends_s: int | None
    limit: Limit | None
    unknown_s: int | None = None
    unknown: str = ""

    def standing(self, age_s: int) -> StandingKey:
        """How the test stands at this age; past stays past."""
        if self.ends_s is not None and age_s > self.ends_s:
            return "past"
        if self.unknown_s is not None and age_s >= self.unknown_s:
            return "unknown"
        return "mixed" if self.until_s is not None and age_s > self.until_s else "kept"


def seconds_between(start: datetime, end: datetime) -> int:
    """Whole seconds from one instant to a later one."""
    return (end - start) // timedelta(seconds=1)


def life_of(specimen: Specimen, *, poured_at: datetime | None = None) -> Life:
    """Where this specimen has been; `poured_at` is when an aliquot was taken off its tube.

    It is asked for where the state does not say when the cells came off: of an aliquot of a file, or one of
    unspun blood that was spun by itself. Blood that was poured before it was spun is on its cells. What was poured off
    a gel was on it until then; where nobody says when, it is taken to be there still.
    """
    drawn = specimen.collected_at
    phases: list[Phase] = []
    storage: StorageKey = "ambient"
    start_s = 0
    for stay in specimen.stays:
        since_s = max(seconds_between(drawn, stay.since), start_s)
        if since_s > start_s and stay.storage != storage:
            phases.append(Phase(storage, start_s, since_s))
            start_s = since_s
        storage = stay.storage
    phases.append(Phase(storage, start_s, None))
    life = Life(tuple(phases), has_gel=specimen.gel)
    if specimen.separated_at is not None:
        off_gel_s = None if poured_at is None or specimen.parent is None else seconds_between(drawn, poured_at)
        return life._replace(separated_s=seconds_between(drawn, specimen.separated_at), off_gel_s=off_gel_s)
    if specimen.parent is not None and specimen.spins:
        if poured_at is None:
            return life._replace(is_separation_known=False)
        if specimen.spins[0].at <= poured_at:
            return life._replace(separated_s=seconds_between(drawn, poured_at), has_gel=False)
    return life


def moved(life: Life, storage: StorageKey, at_s: int, *, is_separated: bool = False) -> Life:
    """The same life, had the specimen gone into this storage at `at_s`, its cells taken off where said."""
    before = [phase for phase in life.phases if phase.start_s < at_s or phase.start_s == 0 == at_s]
    if before[-1].storage != storage:
        before[-1] = before[-1]._replace(end_s=at_s)
        before.append(Phase(storage, at_s, None))
    separated_s = at_s if is_separated and life.separated_s is None else life.separated_s
    phases = tuple(phase for phase in before if phase.end_s != phase.start_s)
    return life._replace(phases=phases, separated_s=separated_s, is_separation_known=True)


def is_spun_for(test: Test, matrix: str) -> bool:
    """Whether this test is measured off the cells: by the facts, else by the matrix."""
    known = facts.stability().get(test.key)
    return matrix != "whole-blood" if known is None else known.separate_within_min is not None


def keep(test: Test, additive: str, matrix: str, life: Life, *, policy: PolicyKey) -> Kept:
    """Until when this test may be measured in a specimen with this additive and this life."""
    family = facts.additives()[additive].family
    return _keep(test.key, test.handling, family, is_spun_for(test, matrix), life, policy)


@lru_cache(maxsize=4_000)
def _keep(key: str, terms: tuple[str, ...], family: str, is_spun: bool, life: Life, policy: PolicyKey) -> Kept:
    rules = rules_of(key, terms, family, policy)
    if is_spun and not life.is_separation_known:
        return Kept(None, None, None, 0, "when it was taken off the cells is not recorded")
    ends: list[_End] = []
    unknown: list[tuple[int, str]] = []
    split_s = life.separated_s if is_spun else None
    for state, from_s, to_s in _states(is_spun, split_s):
        wet = _liquid(life, from_s, to_s)
        for found in _ends_of(state, wet, rules):
            if isinstance(found, _End):
                if to_s is None or found.until_s < to_s:
                    ends.append(found)
            elif to_s is None or found[0] < to_s:
                unknown.append(found)
        _freeze(state, life, from_s, to_s, rules, ends, unknown)
    if split_s is not None and life.has_gel and any(state == "on-gel" for state, _ in rules):
        ends += _gel_ends(life, split_s, rules)
        _freeze("on-gel", life, split_s, life.off_gel_s, rules, ends, unknown)
    if policy == "extended" and split_s is not None:
        ends += _unadded(key, terms, family, life, split_s, rules)
    first = min(ends, key=lambda end: end.until_s, default=None)
    lasts = [end.ends_s for end in ends if end.ends_s is not None]
    lost = min(unknown, default=(None, ""))
    until_s = None if first is None else first.until_s
    last_s = min(lasts, default=None) if policy == "extended" else until_s
    return Kept(until_s, last_s, None if first is None else first.limit, *lost)


def _gel_ends(life: Life, split_s: int, rules: Rules) -> Iterable[_End]:
    """What ends it while it stands on the gel of its tube: beside what ends it off the cells, wherever it is."""
    off_s = life.off_gel_s
    for found in _ends_of("on-gel", _liquid(life, split_s, off_s), rules):
        if isinstance(found, _End) and (off_s is None or found.until_s < off_s):
            yield found


def _unadded(key: str, terms: tuple[str, ...], family: str, life: Life, split_s: int, rules: Rules) -> Iterable[_End]:
    """Where the cells stayed in for longer than the strictest source allows: as long as unspun blood would serve.

    The times that sources give off the cells are of plasma that was taken off in time; nobody adds them to more.
    """
    phases = tuple(phase for phase in life.phases if phase.start_s < split_s)
    fresh = Life((*phases[:-1], phases[-1]._replace(end_s=None)) if phases else life.phases[:1])

    def soonest(some: Rules) -> _End | None:
        found = [end for end in _ends_of("on-cells", _liquid(fresh, 0, None), some) if isinstance(end, _End)]
        return min(found, key=lambda end: end.until_s, default=None)

    strict, longest = soonest(rules_of(key, terms, family, "strict")), soonest(rules)
    if strict is not None and longest is not None and split_s > strict.until_s:
        yield _End(longest.until_s, None, longest.limit)


class _End(NamedTuple):
    """When one storage ends what a test keeps: counted with all the others, and by itself."""

    until_s: int
    ends_s: int | None
    limit: Limit


class _Wet(NamedTuple):
    """Liquid time of one state: its storages in order with liquid seconds, and how to tell real ones."""

    start_s: int
    parts: tuple[Phase, ...]
    frozen: tuple[tuple[int, int | None], ...]

    def real(self, liquid_s: int) -> int | None:
        """The real second of a liquid one; None where it never comes while the specimen is frozen."""
        for start_s, end_s in self.frozen:
            if liquid_s > start_s:
                if end_s is None:
                    return None
                liquid_s += end_s - start_s
        return liquid_s


def _states(is_spun: bool, separated_s: int | None) -> list[tuple[StateKey, int, int | None]]:
    if not is_spun:
        return [("whole", 0, None)]
    if separated_s is None:
        return [("on-cells", 0, None)]
    return [("on-cells", 0, separated_s), ("off-cells", separated_s, None)]


def _liquid(life: Life, from_s: int, to_s: int | None) -> _Wet:
    """The liquid part of this stretch, its storages on a clock that stands still while it is frozen."""
    frozen = tuple((phase.start_s, phase.end_s) for phase in life.phases if phase.storage == "frozen")
    parts = []
    lost_s = 0
    start_s = from_s
    for phase in life.phases:
        if phase.storage == "frozen":
            lost_s += 0 if phase.end_s is None else phase.end_s - phase.start_s
            if phase.end_s is not None and phase.end_s <= from_s:
                start_s = from_s - lost_s
            continue
        begin_s = max(phase.start_s, from_s)
        end_s = min((s for s in (phase.end_s, to_s) if s is not None), default=None)
        if end_s is None or end_s > begin_s:
            parts.append(Phase(phase.storage, begin_s - lost_s, None if end_s is None else end_s - lost_s))
    return _Wet(start_s, tuple(parts), frozen)


def _ends_of(state: StateKey, wet: _Wet, rules: Rules) -> Iterable[_End | tuple[int, str]]:
    """When each storage of the stretch ends it, and from when one is not known, in real seconds."""
    storages = list(dict.fromkeys(part.storage for part in wet.parts))
    latest: int | None = wet.start_s
    for number, storage in enumerate(storages):
        own = [part for part in wet.parts if part.storage == storage]
        rule = rules.get((state, storage))
        if rule is None:
            latest = None
            since_s = _when_over(own, _passing_s(storage, 0) if rules else 0)
            if since_s is not None and (real_s := wet.real(since_s)) is not None:
                yield real_s, f"no source says how long it keeps as {STATES[state]} {PLACES[storage]}"
            continue
        end_s, limit = rule.end(wet.start_s)
        sure_s = rule.sure_end(state, wet.start_s)
        allowed_s = _passing_s(storage, limit.seconds)
        if limit.seconds == 0:
            end_s, sure_s = end_s + allowed_s, sure_s + allowed_s
        over_s = _when_over(own, allowed_s)
        if over_s is not None:
            yield from _end(wet, max(over_s, sure_s), _own_end(own, limit, end_s, over_s), limit)
        latest = None if latest is None else max(latest, sure_s)
        # Past every limit of all that it was in so far, whether or not it passed through.
        next_s = min((p.start_s for p in wet.parts if p.storage in storages[number + 1 :]), default=None)
        if latest is not None and (next_s is None or latest < next_s):
            yield from _end(wet, max(latest, own[0].start_s), None, limit)


def _end(wet: _Wet, until_s: int, ends_s: int | None, limit: Limit) -> Iterable[_End]:
    real_s = wet.real(until_s)
    if real_s is not None:
        yield _End(real_s, None if ends_s is None else wet.real(ends_s), limit)


def _when_over(own: list[Phase], allowed_s: int) -> int | None:
    """The liquid second at which these stays come to more than `allowed_s` in all; None where they never do."""
    total_s = 0
    for part in own:
        if part.end_s is None or total_s + part.end_s - part.start_s > allowed_s:
            return part.start_s + allowed_s - total_s
        total_s += part.end_s - part.start_s
    return None


def _own_end(own: list[Phase], limit: Limit, end_s: int, over_s: int) -> int | None:
    """When this storage by itself has used up its limit; None where it was left before."""
    if not limit.from_draw:
        used_up_s = _when_over(own, max(limit.seconds, 0))
        return None if used_up_s is None else max(used_up_s, over_s)
    for part in own:
        if part.end_s is None or part.end_s > end_s:
            return max(part.start_s, end_s, over_s)
    return None


def _passing_s(storage: StorageKey, keeps_s: int) -> int:
    """How long a stay here counts as passing through; where nothing is kept, only 'at once' at room temperature."""
    if keeps_s == 0:
        return (house_rules()["at_once"].at_most_s or 0) if storage == "ambient" else 0
    rule = house_rules()["passing"]
    return min(rule.at_most_s or 0, keeps_s // (rule.tenth_of or 1))


def _freeze(
    state: StateKey, life: Life, from_s: int, to_s: int | None, rules: Rules, ends: list[_End],
    unknown: list[tuple[int, str]],
) -> None:  # fmt: skip
    """Take in the frozen stays that begin in this state."""
    stays = [phase for phase in life.phases if phase.storage == "frozen"]
    for number, phase in enumerate(stays):
        if phase.start_s < from_s or (to_s is not None and phase.start_s >= to_s):
            continue
        rule = rules.get((state, "frozen"))
        if number > 0:
            unknown.append((phase.start_s, "no source allows it to be frozen a second time"))
        elif rule is None:
            unknown.append((phase.start_s, f"no source says how long it keeps as {STATES[state]} frozen"))
        else:
            _, limit = rule.end(0)
            end_s = phase.start_s + limit.seconds
            if phase.end_s is None or phase.end_s > end_s:
                ends.append(_End(end_s, end_s, limit))

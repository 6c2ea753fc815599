"""What sources and handling terms allow a test's specimen, in each state and storage, under a policy."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import lru_cache
from typing import Literal, NamedTuple

from cubital import facts
from cubital.facts.keeping import KeepingClaim, StateKey, StorageKey, keeping_claims

PolicyKey = Literal["strict", "extended"]
POLICIES: tuple[PolicyKey, ...] = ("strict", "extended")
PLACES: Mapping[StorageKey, str] = {
    "ambient": "at room temperature", "cold": "at 2-8 C", "frozen": "frozen", "warm": "at 37 C", "ice": "on ice",
}  # fmt: skip
_ABOUT: Mapping[StorageKey, facts.KeptKey] = {"ambient": "ambient", "cold": "cold", "ice": "cold", "frozen": "frozen"}
STATES: Mapping[StateKey, str] = {
    "whole": "whole blood", "on-cells": "on the cells", "off-cells": "off the cells", "on-gel": "on its gel",
}  # fmt: skip
# States in which the cells are off, so that times count from the separation.
PARTED: tuple[StateKey, ...] = ("off-cells", "on-gel")
# Families of additives in which blood clots, so that serum comes of it.
CLOTS = ("none", "clot-activator", "thrombin")
_DAY_MIN = 1440
# Coagulation factors are harmed by cold in unspun blood; the rule of two hours off the cells is of chemistry.
_COAGULATION = "citrate"


class Limit(NamedTuple):
    """How many seconds one source gives, counted from the draw or from the separation; 0 is not at all.

    `is_held` says that a study found it to hold so long, beyond what another source allows.
    """

    seconds: int
    from_draw: bool
    text: str
    basis: str
    sources: tuple[str, ...]
    is_held: bool = False


class Rule(NamedTuple):
    """The limits of one state and storage: the shortest counts, or the longest below each failure."""

    limits: tuple[Limit, ...]
    is_longest: bool
    fails: tuple[Limit, ...] = ()

    def end(self, start_s: int) -> tuple[int, Limit]:
        """When it ends, where the state began at `start_s` after the draw, and what sets that."""
        ends = [((0 if limit.from_draw else start_s) + limit.seconds, limit) for limit in self.limits]
        ends.sort(key=lambda end: end[0])
        found = ends[-1] if self.is_longest else ends[0]
        failed = [((0 if limit.from_draw else start_s) + limit.seconds, limit) for limit in self.fails]
        return min((found, *failed), key=lambda end: end[0])

    def sure_end(self, state: StateKey, start_s: int) -> int:
        """When it ends for certain: a study of plasma counts from its separation, and nobody adds the time before.

        So what a study found to hold off the cells is counted from the draw, but never below a source's own limit.
        """
        end_s, limit = self.end(start_s)
        if state not in PARTED or not limit.is_held or limit.from_draw:
            return end_s
        set_s = [start_s * (not x.from_draw) + x.seconds for x in self.limits if not x.is_held]
        return min(end_s, max(limit.seconds, min(set_s, default=0)))


Place = tuple[StateKey, StorageKey]
Rules = Mapping[Place, Rule]


def span_text(seconds: int) -> str:
    """A span as a bench says it.

    >>> span_text(5400), span_text(14400), span_text(604800), span_text(7 * 60)
    ('90 min', '4 h', '7 d', '7 min')
    """
    minutes = seconds // 60
    if minutes < 120:
        return f"{minutes} min"
    # To a tenth, down: nothing is said to keep longer than it does.
    if minutes < 2880:
        return f"{minutes // 6 / 10:g} h"
    return f"{minutes // 144 / 10:g} d"


@lru_cache(maxsize=10_000)
def rules_of(key: str, terms: tuple[str, ...], family: str, policy: PolicyKey) -> Rules:
    """Every rule for this test in a tube of this family of additives; empty where nothing is known.

    `terms` are the handling terms of the site's directory: what must not be chilled has a limit of 0 in
    the cold, what goes on ice at once has one of 0 at room temperature, and so on.
    """
    limits: dict[Place, list[Limit]] = {}
    held: dict[Place, list[Limit]] = {}
    fails: dict[Place, list[Limit]] = {}
    for place, limit in _table_limits(key, terms, family):
        limits.setdefault(place, []).append(limit)
    for claim in _claims_by_test().get(key, []):
        if claim.families and family not in claim.families:
            continue
        table = limits if claim.limit_min is not None else held if claim.held_min is not None else fails
        table.setdefault((claim.state, claim.storage), []).append(_claimed(claim))
    found: dict[Place, Rule] = {}
    for place in {**limits, **held, **fails}:
        # A study that held or failed stands for a limit only where no source sets one.
        lasting = limits.get(place, []) or held.get(place, []) or fails[place]
        if policy == "extended":
            lasting = [*limits.get(place, []), *held.get(place, [])] or fails[place]
        found[place] = Rule(tuple(lasting), policy == "extended", tuple(fails.get(place, [])))
    return found


@lru_cache(maxsize=1)
def _claims_by_test() -> Mapping[str, list[KeepingClaim]]:
    found: dict[str, list[KeepingClaim]] = {}
    for claim in keeping_claims():
        for test in claim.tests:
            found.setdefault(test, []).append(claim)
    return found


def _claimed(claim: KeepingClaim) -> Limit:
    """A claim as a limit; a test that had failed by a time is good for a minute less at most."""
    where = f"{STATES[claim.state]} {PLACES[claim.storage]}"
    from_draw = claim.from_draw or claim.state not in PARTED
    sources = (claim.mark.source,)
    if claim.fails_min is not None:
        text = f"{where}: out of its limits by {span_text(60 * claim.fails_min)}"
        return Limit(60 * (claim.fails_min - 1), from_draw, text, claim.mark.basis, sources)
    minutes = claim.limit_min if claim.held_min is None else claim.held_min
    word = "" if claim.held_min is None else "found to hold "
    text = f"{where}: {word}{span_text(60 * (minutes or 0))}"
    return Limit(60 * (minutes or 0), from_draw, text, claim.mark.basis, sources, claim.held_min is not None)


def _table_limits(key: str, terms: tuple[str, ...], family: str) -> Iterable[tuple[Place, Limit]]:
    """The limits of stability.toml and of the handling terms."""
    known = facts.stability().get(key)
    is_spun = known is not None and known.separate_within_min is not None
    if known is not None and known.families and family not in known.families:
        known = None
    fresh: StateKey = "on-cells" if is_spun else "whole"
    forbidden = _forbidden(terms, is_spun=is_spun)
    for storage, term in forbidden.items():
        mark = facts.handling_terms()[term].marks[0]
        yield (fresh, storage), _limit((fresh, storage), 0, True, mark)
    if known is None:
        return
    if known.separate_within_min is not None:
        mark = known.mark_of("cells")
        for storage in _fresh_places(terms, family):
            yield ("on-cells", storage), _limit(("on-cells", storage), known.separate_within_min, True, mark)
        frozen = facts.Mark(basis="common-practice", source="common-practice", note="freezing bursts the cells")
        yield ("on-cells", "frozen"), _limit(("on-cells", "frozen"), 0, True, frozen)
    state: StateKey = "off-cells" if is_spun else "whole"
    for storage, minutes in _kept_places(known, terms):
        if minutes is not None and (is_spun or storage not in forbidden):
            from_draw = storage != "frozen" and (known.from_draw or not is_spun)
            mark = known.mark_of(_ABOUT.get(storage, "ambient"))
            yield (state, storage), _limit((state, storage), minutes, from_draw, mark)


def _limit(place: Place, minutes: int, from_draw: bool, mark: facts.Mark) -> Limit:
    state, storage = place
    span = span_text(60 * minutes) if minutes else "not at all"
    since = " from the draw" if from_draw and state == "off-cells" else ""
    text = f"{STATES[state]} {PLACES[storage]}: {span}{since}"
    return Limit(60 * minutes, from_draw, text, mark.basis, (mark.source,))


def _forbidden(terms: tuple[str, ...], *, is_spun: bool) -> dict[StorageKey, str]:
    """The storages that a handling term forbids fresh blood, each with the term."""
    if "warm" in terms:
        return {"ambient": "warm", "cold": "warm", "ice": "warm"}
    if "no_chill" in terms:
        return {"cold": "no_chill", "ice": "no_chill"}
    return {"ambient": "ice"} if "ice" in terms and is_spun else {}


def _fresh_places(terms: tuple[str, ...], family: str) -> tuple[StorageKey, ...]:
    """Where the time to separation is stated for; elsewhere it is not known, or forbidden."""
    if "warm" in terms:
        return ("warm",)
    if "ice" in terms:
        return ("ice",)
    if "no_chill" in terms or family == _COAGULATION:
        return ("ambient",)
    return ("ambient", "cold", "ice")


def _kept_places(known: facts.Stability, terms: tuple[str, ...]) -> Iterator[tuple[StorageKey, int | None]]:
    yield "ambient", known.ambient_min
    yield "cold", known.refrigerated_min
    if "ice" in terms:
        yield "ice", known.refrigerated_min
    yield "frozen", None if known.frozen_d is None else known.frozen_d * _DAY_MIN

"""The order of draw: where each kind stands under the site's policy, and what the policy refuses."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from cubital import facts
from cubital.errors import PlanError, UnplacedKind
from cubital.model import Placing, Site, TubeKind
from cubital.planning.lint import OWN_PLACE_USES, SKIN_PUNCTURE, beside


class Rank(NamedTuple):
    """Where a kind stands: the step and place of the policy, and the site's own shift from it.

    `mark` and `words` say what puts it there.
    """

    order: tuple[int, ...]
    words: str
    basis: str
    source: str


class Sequence:
    """The ranks of a site's kinds under one policy."""

    def __init__(self, site: Site, access: str) -> None:
        self.site = site
        self.access = access
        key = SKIN_PUNCTURE if access == SKIN_PUNCTURE else site.planning.order_of_draw
        policies = facts.order_policies()
        if key not in policies:
            raise PlanError(
                f"found {key!r}; expected one of {', '.join(sorted(policies))}; choose one",
                where="site.toml [planning] order_of_draw",
            )
        self.policy = policies[key]
        self._number = {kind: n for n, kind in enumerate(site.kinds)}
        self._placings: Mapping[str, Placing] = {p.kind: p for p in site.planning.placings}
        self._ranks: dict[str, Rank | None] = {}
        self._places: dict[str, tuple[object, ...]] = {}

    def refusal(self, kind: TubeKind) -> str | None:
        """Why this kind is not taken this way at all, or None."""
        for refused in self.policy.refused:
            if refused.additive in (None, kind.additive) and refused.use in (None, kind.use):
                return refused.what
        return None

    def rank(self, key: str) -> Rank:
        """Where this kind stands; raises `UnplacedKind` where neither policy nor site says."""
        found = self.find(key)
        if found is None:
            raise self._unplaced(self.site.kinds[key])
        return found

    def find(self, key: str) -> Rank | None:
        """Where this kind stands, or None where neither policy nor site says."""
        if key not in self._ranks:
            self._ranks[key] = self._find(key, ())
        return self._ranks[key]

    def sort_key(self, kind: str, draw_ul: int, tests: tuple[str, ...]) -> tuple[object, ...]:
        """The order of draw, then the stated tie rule: order of the stock, larger first, then test."""
        return (*(*self.rank(kind).order, 0, 0, 0)[:5], self._number[kind], -draw_ul, tests)

    def place(self, kind: str) -> tuple[object, ...]:
        """Where the tubes of this kind stand in a draw, of any size; last where neither policy nor site says."""
        found = self._places.get(kind)
        if found is None:
            is_placed = self.find(kind) is not None
            found = self._places[kind] = self.sort_key(kind, 0, ())[:-2] if is_placed else (float("inf"), kind)
        return found

    def _find(self, key: str, inside: tuple[str, ...]) -> Rank | None:
        kind = self.site.kinds.get(key)
        if kind is None or key in inside:
            return None
        placed = self._by_policy(kind)
        if placed is not None:
            return placed
        placing = self._placings.get(key)
        if placing is None:
            return None
        near = self._find(beside(placing), (*inside, key))
        if near is None:
            return None
        shift = (1,) if placing.after else (-1,) if placing.before else ()
        words = "after" if placing.after else "before" if placing.before else "with"
        return Rank(
            near.order + shift,
            f"the site places {key} {words} {beside(placing)}: {placing.because}",
            "site",
            "site",
        )

    def _by_policy(self, kind: TubeKind) -> Rank | None:
        best: tuple[int, Rank] | None = None
        for number, step in enumerate(self.policy.steps):
            for inner, place in enumerate(step.places):
                weight = _weight(kind, place)
                if weight is not None and (best is None or weight > best[0]):
                    words = f"step {number + 1} of {self.policy.name}: {step.name}"
                    best = weight, Rank((number, inner), words, step.mark.basis, step.mark.source)
        return None if best is None else best[1]

    def _unplaced(self, kind: TubeKind) -> UnplacedKind:
        choices = [
            choice
            for silent in self.policy.silent
            if silent.additive in (None, kind.additive)
            and silent.gel in (None, kind.gel)
            and silent.use in (None, kind.use)
            for choice in silent.choices
        ]
        said = f" What others say: {'; '.join(choices)}." if choices else ""
        return UnplacedKind(
            f"{self.policy.name} does not place {kind.key} ({kind.additive}); expected a place in the order "
            f'of draw.{said} Write it in site.toml: [place] {kind.key} = {{after = "…"}}, '
            '{before = "…"} or {with = "…"}',
            where=f"tube {kind.key}",
            kind=kind.key,
            policy=self.policy.key,
            choices=choices,
        )


def _weight(kind: TubeKind, place: facts.Place) -> int | None:
    """How closely a place names this kind, use before material before gel; None where it does not fit."""
    if place.additive != kind.additive or (place.use is None and kind.use in OWN_PLACE_USES):
        return None
    weight = 0
    for named, found, value in (
        (place.use, kind.use, 4),
        (place.material, kind.material, 2),
        (place.gel, kind.gel, 1),
    ):
        if named is not None:
            if named != found:
                return None
            weight += value
    return weight

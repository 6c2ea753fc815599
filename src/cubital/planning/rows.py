"""One packed tube as a row of the plan, with its reasons."""

from __future__ import annotations

from collections.abc import Sequence as Tests
from fractions import Fraction
from typing import Final, NamedTuple

import msgspec

from cubital import facts
from cubital.model import PlannedTube, Reason, Site, Test, Tube, TubeKind
from cubital.planning.choices import RATIO_CRITICAL, Shelf, Wanted, Way
from cubital.planning.cultures import Bottle
from cubital.planning.discards import CLEARED
from cubital.planning.parts import Packed
from cubital.planning.sequence import Sequence
from cubital.planning.spins import WARM, spin_for, spin_text
from cubital.planning.volumes import Volumes
from cubital.planning.wanted import is_served_by_analyzer
from cubital.units import millilitres_text

WHOLE_BLOOD: Final = "whole-blood"
_BY_SITE = ("site", "site")
_KEPT_ROWS = 200_000


class _Label(NamedTuple):
    """What every row of one stock size and matrix has in common."""

    kind: TubeKind
    tube: Tube
    way: Way
    usable_ul: int
    sort_key: tuple[object, ...]
    fill_min_percent: int | None
    inversions: int | None
    why_place: Reason
    draw_text: str
    usable_text: str
    by_handling: dict[tuple[str, ...], tuple[int | None, str | None]]


class Rack:
    """The packed tubes of one shelf as rows; a row asked for again is the same row."""

    def __init__(self, shelf: Shelf, sequence: Sequence, hematocrit: Fraction) -> None:
        terms = facts.handling_terms().values()
        self._unsaid = frozenset(term.key for term in terms if term.only_by and shelf.access not in term.only_by)
        self._shelf = shelf
        self._sequence = sequence
        self._hematocrit = hematocrit
        self._labels: dict[tuple[int, int], _Label] = {}
        self._rows: dict[tuple[object, ...], PlannedTube] = {}

    def prepare(self) -> None:
        """Every label of this shelf that has a place in the order of draw."""
        for way, (key, _, sizes, _) in enumerate(self._shelf.ways):
            if self._sequence.find(key) is not None:
                for size in sizes:
                    self._label(Packed(size.item, way, ()))

    def sort_key(self, packed: Packed, wanted: Tests[Wanted]) -> tuple[object, ...]:
        """Where this tube stands in its draw: the sequence's order."""
        tests = tuple([wanted[number].test for number in packed.members])
        return *self._label(packed).sort_key, tests

    def row(self, packed: Packed, wanted: Tests[Wanted], *, volumes: Volumes, draw: int, position: int) -> PlannedTube:
        """This packed tube as a row; `volumes` says which volumes `wanted` holds."""
        tests = tuple([wanted[number].test for number in packed.members])
        room_ul = sum([wanted[number].ways[packed.way][0] for number in packed.members])
        plain = (packed.item, packed.way, tests, volumes.key, room_ul)
        place = (plain, draw, position)
        found = self._rows.get(place)
        if found is None:
            if len(self._rows) >= _KEPT_ROWS:
                self._rows.clear()
            like = self._rows.get(plain)
            if like is None:
                found = self._rows[plain] = self._make(packed, wanted, tests, volumes, draw, position)
            else:
                found = msgspec.structs.replace(like, draw=draw, position=position)
            self._rows[place] = found
        return found

    def _label(self, packed: Packed) -> _Label:
        key = (packed.item, packed.way)
        found = self._labels.get(key)
        if found is None:
            kind, tube = self._shelf.items[packed.item]
            way = self._shelf.ways[packed.way]
            usable_ul = next(size.cap_ul for size in way.sizes if size.item == packed.item)
            found = self._labels[key] = _Label(
                kind, tube, way, usable_ul, self._sequence.sort_key(kind.key, tube.draw_ul, ())[:-1],
                least_fill_percent(kind), inversion_count(kind), _why_place(kind, self._sequence),
                millilitres_text(tube.draw_ul), _yield_text(way.matrix, usable_ul, self._hematocrit), {},
            )  # fmt: skip
        return found

    def _make(
        self, packed: Packed, wanted: Tests[Wanted], keys: tuple[str, ...], volumes: Volumes, draw: int, position: int
    ) -> PlannedTube:
        label = self._label(packed)
        kind, tube, way = label.kind, label.tube, label.way
        tests = [self._shelf.site.tests[key] for key in keys]
        ways = [wanted[number].ways[packed.way] for number in packed.members]
        room_ul = sum([need for need, _ in ways])
        needed_ul = sum([_need_ul(test, way, volumes, need) for test, (need, _) in zip(tests, ways, strict=True)])
        benches: tuple[str, ...]
        if len(tests) == 1:
            handling, benches = tests[0].handling, (tests[0].bench,)
        else:
            handling = tuple(dict.fromkeys([term for test in tests for term in self._terms_of(test, label)]))
            benches = tuple(dict.fromkeys([test.bench for test in tests]))
        if not self._unsaid.isdisjoint(handling):
            handling = tuple(term for term in handling if term not in self._unsaid)
        clot_s, spin = self._after(label, handling)
        return PlannedTube(
            position=position, draw=draw, purpose="collect", kind=kind.key, name=kind.name,
            additive=kind.additive, gel=kind.gel, draw_ul=tube.draw_ul, stopper=kind.stopper, mark=kind.mark,
            liquid_additive_ul=tube.liquid_additive_ul, matrix=way.matrix,
            benches=benches, tests=keys,
            usable_ul=label.usable_ul, needed_ul=needed_ul, reserve_ul=room_ul - needed_ul,
            fill_min_percent=label.fill_min_percent,
            inversions=label.inversions, clot_s=clot_s, spin=spin, handling=handling,
            reasons=(
                *_why_kind([place for _, place in ways], tests, way),
                _why_size(label, needed_ul, room_ul - needed_ul),
                label.why_place,
            ),
        )  # fmt: skip

    def _terms_of(self, test: Test, label: _Label) -> tuple[str, ...]:
        """The handling this test asks of its tube: a guest of the gas analyzer asks nothing of its temperature."""
        if not is_served_by_analyzer(test, label.kind.use, self._shelf.site):
            return test.handling
        known = facts.handling_terms()
        return tuple(term for term in test.handling if term in known and not known[term].opposes)

    def _after(self, label: _Label, handling: tuple[str, ...]) -> tuple[int | None, str | None]:
        """How long this tube clots at least, and how it is spun."""
        found = label.by_handling.get(handling)
        if found is None:
            kind, matrix = label.kind, label.way.matrix
            clotting = facts.clotting(kind.additive, kind.gel, WARM in handling) if matrix == "serum" else None
            family = facts.additives()[kind.additive].family
            found = label.by_handling[handling] = (
                None if clotting is None else clotting.min_s,
                None if matrix == WHOLE_BLOOD else spin_words(family, kind.gel, handling),
            )
        return found


def bottle_row(bottle: Bottle, draw: int, test: str, site: Site, sequence: Sequence) -> PlannedTube:
    """This culture bottle as a row; `draw_ul` is the blood to put in, not the size of the bottle."""
    kind = bottle.kind
    largest = millilitres_text(bottle.tube.draw_ul)
    text = f"set {bottle.set_number}: {millilitres_text(bottle.fill_ul)} mL into a bottle that takes up to {largest} mL"
    return PlannedTube(
        position=0, draw=draw, purpose="culture", kind=kind.key, name=kind.name, additive=kind.additive,
        gel=kind.gel, draw_ul=bottle.fill_ul, stopper=kind.stopper, mark=kind.mark,
        liquid_additive_ul=bottle.tube.liquid_additive_ul, matrix=WHOLE_BLOOD,
        benches=(site.tests[test].bench,), tests=(test,), inversions=inversion_count(kind),
        handling=site.tests[test].handling,
        reasons=(
            Reason(about="size", text=text, basis="computed", sources=()),
            *_why_not_cleared(bottle, sequence),
            _why_place(kind, sequence),
        ),
    )  # fmt: skip


def _why_not_cleared(bottle: Bottle, sequence: Sequence) -> list[Reason]:
    """That a line is cleared once: what was discarded for the first set is not discarded again."""
    if sequence.access != "line" or bottle.set_number == 1:
        return []
    return [Reason(about=CLEARED, text="the line was cleared for set 1", basis="computed", sources=())]


def inversion_count(kind: TubeKind) -> int | None:
    """How often to invert: the site's own count, else the shipped one; None where nothing is known."""
    if kind.inversions is not None:
        return kind.inversions
    found = facts.inversions(kind.additive, kind.gel)
    return None if found is None else found.chosen


def least_fill_percent(kind: TubeKind) -> int | None:
    """The least fill of a tube whose ratio decides the result; None where the ratio does not."""
    if kind.fill_min_percent is not None:
        return kind.fill_min_percent
    return facts.fills()[0].fill_min_percent if kind.additive in RATIO_CRITICAL else None


def spin_words(family: str, gel: bool, handling: Tests[str]) -> str | None:
    """How this tube is spun, in words; None where no source says."""
    spin = spin_for(family, gel, handling)
    return None if spin is None else spin_text(spin)


def _why_kind(places: Tests[int], tests: Tests[Test], way: Way) -> list[Reason]:
    """Why these tests are in this kind: grouped by the place it takes in their preferences."""
    by_place: dict[tuple[int, tuple[str, str]], list[str]] = {}
    for place, test in zip(places, tests, strict=True):
        by_place.setdefault((place, test.basis.get("accepts", _BY_SITE)), []).append(test.name)
    reasons = []
    for (place, (basis, source)), names in sorted(by_place.items()):
        choice = "first choice" if place == 0 else f"choice {place + 1}"
        text = f"{', '.join(names)}: {way.matrix} from {way.kind}, the {choice}"
        reasons.append(Reason(about="kind", text=text, basis=basis, sources=(source,)))
    return reasons


def _need_ul(test: Test, way: Way, volumes: Volumes, taken_ul: int) -> int:
    """What this test needs of this way without a reserve; what it takes where it is a guest there."""
    for accept in test.accepts:
        if accept.matrix == way.matrix and way.kind in accept.tubes:
            return accept.minimum_ul if volumes.key == "minimum" else accept.volume_ul
    return taken_ul


def _why_size(label: _Label, needed_ul: int, reserve_ul: int) -> Reason:
    more = f" and {millilitres_text(reserve_ul)} mL are kept for a repeat" if reserve_ul else ""
    text = (
        f"the tests need {millilitres_text(needed_ul)} mL of {label.way.matrix}{more}; a draw of {label.draw_text} mL "
        f"yields {label.usable_text}"
    )
    return Reason(about="size", text=text, basis="computed", sources=())


def _yield_text(matrix: str, usable_ul: int, hematocrit: Fraction) -> str:
    share = "" if matrix == WHOLE_BLOOD else f" at hematocrit {float(hematocrit):.2f}"
    return f"{millilitres_text(usable_ul)} mL{share}"


def _why_place(kind: TubeKind, sequence: Sequence) -> Reason:
    rank = sequence.rank(kind.key)
    return Reason(about="place", text=rank.words, basis=rank.basis, sources=(rank.source,))

"""One packed tube as a row of the plan, with its reasons."""

from __future__ import annotations

from collections.abc import Sequence as Tests
from fractions import Fraction
from typing import Final

from cubital import facts
from cubital.model import PlannedTube, Reason, Site, Test, Tube, TubeKind
from cubital.planning.choices import RATIO_CRITICAL, Shelf, Wanted
from cubital.planning.collections import CLEARED, Bottle
from cubital.planning.parts import Packed
from cubital.planning.sequence import Sequence
from cubital.units import millilitres_text

COLD = "cold_spin"
TWICE = "double_spin"
WARM = "warm"
BODY_C = 37
WHOLE_BLOOD: Final = "whole-blood"


def tube_row(
    packed: Packed, wanted: Tests[Wanted], shelf: Shelf, sequence: Sequence, hematocrit: Fraction
) -> PlannedTube:
    """This packed tube as a row; its position is set later, when the draw is in order."""
    kind, tube = shelf.items[packed.item]
    way = shelf.ways[packed.way]
    site = shelf.site
    members = [wanted[number] for number in packed.members]
    tests = [site.tests[member.test] for member in members]
    usable_ul = next(size.cap_ul for size in way.sizes if size.item == packed.item)
    needed_ul = sum(member.ways[packed.way][0] for member in members)
    handling = tuple(dict.fromkeys(term for test in tests for term in test.handling))
    additive = facts.additives()[kind.additive]
    clotting = facts.clotting(kind.additive, kind.gel, WARM in handling) if way.matrix == "serum" else None
    reasons = [
        *_why_kind(members, tests, packed, way.kind, way.matrix),
        _why_size(kind, tube, way.matrix, needed_ul, usable_ul, hematocrit),
        _why_place(kind, sequence),
    ]
    return PlannedTube(
        position=0, draw=members[0].draw, purpose="collect", kind=kind.key, name=kind.name,
        additive=kind.additive, gel=kind.gel, draw_ul=tube.draw_ul, stopper=kind.stopper, mark=kind.mark,
        liquid_additive_ul=tube.liquid_additive_ul,
        matrix=way.matrix,
        benches=tuple(dict.fromkeys(test.bench for test in tests)),
        tests=tuple(member.test for member in members),
        usable_ul=usable_ul, needed_ul=needed_ul,
        fill_min_percent=least_fill_percent(kind),
        inversions=inversion_count(kind),
        clot_s=None if clotting is None else clotting.min_s,
        spin=None if way.matrix == WHOLE_BLOOD else spin_words(additive.family, kind.gel, handling),
        handling=handling,
        reasons=tuple(reasons),
    )  # fmt: skip


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
    fitting = [s for s in facts.spins() if family in s.families and s.gel in (None, gel)]
    if not fitting:
        return None
    chosen = fitting[0]
    for spin in fitting:
        if (
            (COLD in handling and spin.temp_high_c < 10)
            or (TWICE in handling and spin.spins == 2)
            or (WARM in handling and spin.temp_low_c == BODY_C)
        ):
            chosen = spin
            break
    force = (
        f"{chosen.rcf_low_g}" if chosen.rcf_low_g == chosen.rcf_high_g else f"{chosen.rcf_low_g}-{chosen.rcf_high_g}"
    )
    warmth = (
        f"{chosen.temp_low_c}"
        if chosen.temp_low_c == chosen.temp_high_c
        else f"{chosen.temp_low_c}-{chosen.temp_high_c}"
    )
    times = "twice, " if chosen.spins == 2 else ""
    return f"{times}{force} g, {chosen.minutes} min, {warmth} C"


def _why_kind(members: Tests[Wanted], tests: Tests[Test], packed: Packed, kind: str, matrix: str) -> list[Reason]:
    """Why these tests are in this kind: grouped by the place it takes in their preferences."""
    by_place: dict[tuple[int, str, str], list[str]] = {}
    for member, test in zip(members, tests, strict=True):
        claim = test.basis.get("accepts", ("site", "site"))
        by_place.setdefault((member.ways[packed.way][1], *claim), []).append(test.name)
    reasons = []
    for (place, basis, source), names in sorted(by_place.items()):
        choice = "first choice" if place == 0 else f"choice {place + 1}"
        text = f"{', '.join(names)}: {matrix} from {kind}, the {choice}"
        reasons.append(Reason(about="kind", text=text, basis=basis, sources=(source,)))
    return reasons


def _why_size(kind: TubeKind, tube: Tube, matrix: str, needed_ul: int, usable_ul: int, hematocrit: Fraction) -> Reason:
    share = "" if matrix == WHOLE_BLOOD else f" at hematocrit {float(hematocrit):.2f}"
    text = (
        f"the tests need {millilitres_text(needed_ul)} mL of {matrix}; a draw of {millilitres_text(tube.draw_ul)} mL "
        f"yields {millilitres_text(usable_ul)} mL{share}"
    )
    return Reason(about="size", text=text, basis="computed", sources=())


def _why_place(kind: TubeKind, sequence: Sequence) -> Reason:
    rank = sequence.rank(kind.key)
    return Reason(about="place", text=rank.words, basis=rank.basis, sources=(rank.source,))

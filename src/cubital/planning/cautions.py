"""What to watch: the cautions of a plan, gravest first."""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping
from fractions import Fraction
from functools import cache, lru_cache

import msgspec

from cubital import facts
from cubital.chemistry.citrate import adjustments
from cubital.model import Caution, PlannedTube, Reason, Site, Test, Tube, TubeKind, Unplaced
from cubital.planning.asks import Asked
from cubital.planning.capacity import usable_ul
from cubital.planning.choices import ALWAYS_LATE, RATIO_CRITICAL, Shelf
from cubital.planning.circumstances import Circumstances
from cubital.planning.cultures import CulturePlan
from cubital.planning.micro import from_micro_tubes
from cubital.planning.sizes import is_usable
from cubital.planning.wanted import GAS_USE, is_served_by_analyzer
from cubital.planning.windows import words_all_too_late, words_barely_in_time
from cubital.units import millilitres_text

_LEVELS = {"stop": 0, "warn": 1, "note": 2}
_BY_VEIN = ("straight-needle", "winged-set", "syringe")


def caution_of(level: str, text: str, mark: facts.Mark | None = None, *, about: str = "plan") -> Caution:
    """One caution; without a mark it rests on the order itself."""
    if mark is None:
        return _caution(level, text, about, "computed", ())
    return _caution(level, text, about, mark.basis, (mark.source,))


@lru_cache(maxsize=20_000)
def _caution(level: str, text: str, about: str, basis: str, sources: tuple[str, ...]) -> Caution:
    """One object for equal cautions, since thousands of kept plans hold the same ones."""
    return Caution(level=level, text=text, about=about, basis=basis, sources=sources)


@cache
def standing() -> tuple[Caution, ...]:
    """The cautions that stand beside every plan."""
    return tuple(caution_of("note", c.text, c.marks[0]) for c in facts.safety().values() if c.when == "always")


def from_tests(asked: Iterable[Asked], site: Site, circumstances: Circumstances) -> list[Caution]:
    """What the tests themselves ask: times, fasting, and words of the directory."""
    found = []
    flags = {known_flag(flag) for flag in circumstances.flags}
    fasting = [site.tests[a.test].name for a in asked if "fasting" in site.tests[a.test].handling]
    if fasting:
        names = ", ".join(dict.fromkeys(fasting))
        if "not-fasting" in flags:
            found.append(caution_of("stop", f"{names}: the patient is not fasting; ask before drawing"))
        elif "fasting" not in flags:
            found.append(caution_of("warn", f"{names}: ask whether the patient is fasting"))
    for a in asked:
        test = site.tests[a.test]
        if test.timed is not None and test.moment is None:
            found.append(caution_of("warn", f"{test.name}: {test.timed}", about=a.test))
        found += [caution_of("note", f"{test.name}: {text}", about=a.test) for text in test.cautions]
        if len(a.via) > 1:
            found.append(caution_of("note", f"{test.name} is asked by {', '.join(a.via)}: drawn once", about=a.test))
    return found


def may_warn(test: Test) -> bool:
    """Whether this test, asked once, may bring a caution of its own."""
    return bool((test.timed is not None and test.moment is None) or test.cautions or "fasting" in test.handling)


def from_patient(circumstances: Circumstances, programs: Container[str | None] = ()) -> list[Caution]:
    """What the patient's flags ask, and what of the order was not understood.

    `programs` are flags that only say which of the site's own limits hold.
    """
    found = []
    known = facts.flags()
    for flag in circumstances.flags:
        key = known_flag(flag)
        if key is None and facts.flag_word(flag) in programs:
            continue
        if key is None:
            found.append(caution_of("warn", f"flag {flag!r} is not known here: read it and act on it"))
        else:
            found.append(caution_of(known[key].level, known[key].text, known[key].marks[0]))
    found += [caution_of("warn", f"not understood and not used: {text}") for text in circumstances.unread]
    return found


def known_flag(flag: str) -> str | None:
    """The key of a flag by its key or another spelling; None where it is not known."""
    return _spellings().get(facts.flag_word(flag))


@cache
def _spellings() -> Mapping[str, str]:
    return {word: flag.key for flag in facts.flags().values() for word in (flag.key, *flag.also)}


def from_tubes(
    tubes: Iterable[PlannedTube], circumstances: Circumstances, site: Site, *, is_urgent: bool
) -> list[Caution]:
    """What the tubes ask of this access and this patient; `is_urgent` where every test of the order is."""
    tubes = tuple(tubes)
    found = [_safety("tourniquet")] if circumstances.access in _BY_VEIN else []
    has_citrate = any(t.additive in RATIO_CRITICAL and t.purpose == "collect" for t in tubes)
    if has_citrate:
        found += _of_citrate(tubes, circumstances)
    if circumstances.access == "winged-set":
        found += _of_first_tubes(tubes, circumstances.hematocrit.value, site)
    if any("ice" in t.handling and t.matrix == "serum" for t in tubes):
        found.append(_safety("serum-on-ice", "warn"))
    if is_urgent and any(_may_clot_sooner(t, circumstances, site) for t in tubes):
        found.append(_safety("urgent-serum"))
    found += from_gases(tubes, circumstances, site)
    if circumstances.has_mothers_sample and _holds(tubes, facts.safety()["mothers-sample"].tests):
        found.append(_safety("mothers-sample", "warn"))
    if any(t.purpose == "culture" for t in tubes):
        found.append(_of_cultures("culture-before-antibiotic"))
        found.append(_safety("skin-culture", _skin_level(circumstances)))
    found += from_micro_tubes(tubes, site, circumstances.access, is_newborn=circumstances.is_newborn)
    access = facts.accesses()[circumstances.access]
    found += [caution_of("note", text, access.marks[0]) for text in access.cautions]
    if circumstances.access == "line":
        found += _of_line(tubes, circumstances, has_citrate=has_citrate)
    if any(_is_of_memory(t, site) for t in tubes):
        found.append(_safety("sizes-are-the-sites"))
    high_up = facts.safety()["altitude"]
    if high_up.limit_m is not None and site.planning.altitude_m > high_up.limit_m:
        found.append(caution_of("warn", f"{site.planning.altitude_m} m. {high_up.text}", high_up.marks[0]))
    return found


def _is_of_memory(tube: PlannedTube, site: Site) -> bool:
    """Whether this tube's sizes, or the volume of a test in it, are what was recalled and not the site's own."""
    kind = site.kinds.get(tube.kind)
    if kind is not None and kind.basis == "memory":
        return True
    return any(site.tests[test].basis.get("volume", ("",))[0] == "memory" for test in tube.tests)


def _of_citrate(tubes: tuple[PlannedTube, ...], circumstances: Circumstances) -> list[Caution]:
    """What a citrate tube asks of the hematocrit, measured or likely."""
    high = facts.safety()["high-hematocrit"]
    hematocrit = circumstances.hematocrit.value
    if not circumstances.hematocrit.is_measured:
        words = "newborn: the hematocrit is often above 0.55; know it before a citrate tube"
        return [caution_of("warn", words, high.marks[0])] if circumstances.is_newborn else []
    if high.limit_fraction is None or hematocrit <= Fraction(high.limit_fraction):
        return []
    sizes = sorted({(t.draw_ul, t.liquid_additive_ul) for t in tubes if t.additive == "citrate-9-1"})
    asked = "; ".join(_citrate_asked(draw_ul, holds_ul, hematocrit) for draw_ul, holds_ul in sizes if holds_ul)
    if not asked:
        return [caution_of("stop", high.text, high.marks[0])]
    words = f"{high.text} By the published formulas: {asked}."
    sources = tuple(mark.source for mark in high.marks)
    found = [Caution(level="stop", text=words, basis=high.marks[0].basis, sources=sources)]
    least_ul = facts.safety()["small-citrate-tube"].limit_ul
    if least_ul is not None and any(draw_ul + holds_ul < least_ul for draw_ul, holds_ul in sizes):
        found.append(_safety("small-citrate-tube", "warn"))
    return found


def _citrate_asked(draw_ul: int, holds_ul: int, hematocrit: Fraction) -> str:
    """How much citrate the published formulas take out of a tube of this draw, and to where each then fills it."""
    by_blood, _, by_mark, _ = adjustments(draw_ul, hematocrit, tube_citrate_ul=Fraction(holds_ul))
    blood, holds = millilitres_text(draw_ul), millilitres_text(holds_ul)
    most, least = (f"{float(each.remove_ul) / 1000:.3f}" for each in (by_blood, by_mark))
    return (
        f"{blood} mL tube: take out {least} to {most} mL of its {holds} mL of citrate; {most} by formula A, whose V is "
        f"the blood: put in {blood} mL, measured, which ends {most} mL under the mark; {least} by formula B, whose V "
        "is blood and citrate together: fill to the mark"
    )


def _of_first_tubes(tubes: tuple[PlannedTube, ...], hematocrit: Fraction, site: Site) -> list[Caution]:
    """What the air in the line of a winged set does to the first tube of each draw."""
    found = []
    first_of_draw: dict[int, PlannedTube] = {}
    for tube in tubes:
        first_of_draw.setdefault(tube.draw, tube)
    for first in first_of_draw.values():
        if first.purpose == "collect" and first.additive in RATIO_CRITICAL:
            words = "a citrate tube stands first behind a winged set and no discard tube is stocked: fill one first"
            found.append(caution_of("stop", words, about=f"draw {first.draw}"))
        elif first.purpose == "collect":
            found += _short_of_air(first, hematocrit, site)
    return found


def _of_line(tubes: tuple[PlannedTube, ...], circumstances: Circumstances, *, has_citrate: bool) -> list[Caution]:
    """What is not known of a line, and what its sets of cultures ask."""
    found = []
    if circumstances.line.dead_space_ul is None:
        words = "dead space of the line not known: no discard is planned; look it up and discard first"
        found += [caution_of("stop", words), _safety("line-discard")]
    if len({t.draw for t in tubes if t.purpose == "culture"}) > 1:
        found += [_safety("line-sites", "warn"), _of_cultures("line-equal-volumes")]
    if any(t.returned for t in tubes):
        found.append(_safety("line-return", "warn"))
    if circumstances.line.carried_anticoagulant is None and has_citrate:
        found.append(caution_of("warn", "it is not known whether the lumen carried anticoagulant: taken as if it did"))
    if circumstances.line.carried_anticoagulant is not False and has_citrate:
        found.append(_safety("line-coagulation", "warn"))
    return found


def _may_clot_sooner(tube: PlannedTube, circumstances: Circumstances, site: Site) -> bool:
    """Whether this tube waits for serum that a stocked thrombin tube would give sooner."""
    if tube.matrix != "serum" or tube.additive == "thrombin":
        return False
    kinds = site.kinds.values()
    quick = {kind.key for kind in kinds if kind.additive == "thrombin" and _has_stock(kind, circumstances)}
    return all(
        any(way.matrix == "serum" and not quick.isdisjoint(way.tubes) for way in site.tests[test].accepts)
        for test in tube.tests
    )


def _has_stock(kind: TubeKind, circumstances: Circumstances) -> bool:
    return kind.can_be_filled_by(circumstances.access) and any(is_usable(size, circumstances.on) for size in kind.sizes)


def from_gases(tubes: tuple[PlannedTube, ...], circumstances: Circumstances, site: Site) -> list[Caution]:
    """What is said of a gas container: its guests of the gas analyzer, and what a capillary one does not serve."""
    found = []
    for tube in tubes:
        kind = site.kinds.get(tube.kind)
        if tube.purpose != "collect" or kind is None or kind.use != GAS_USE:
            continue
        if circumstances.access == "skin-puncture":
            found.append(_safety("capillary-gas", "warn"))
        for key in tube.tests:
            known = facts.whole_blood().get(key)
            if known is not None and is_served_by_analyzer(site.tests[key], kind.use, site):
                level = "note" if known.standing == "first-choice" else "warn"
                found.append(caution_of(level, f"{known.caution}; {known.bias}", known.marks[0], about=key))
    return found


def _holds(tubes: Iterable[PlannedTube], tests: Iterable[str]) -> bool:
    """Whether any of these tests is in a tube."""
    wanted = set(tests)
    return any(not wanted.isdisjoint(tube.tests) for tube in tubes)


def _of_cultures(key: str) -> Caution:
    rule = facts.cultures().rule(key)
    return caution_of("note", rule.text, rule.marks[0])


def _skin_level(circumstances: Circumstances) -> str:
    """How grave the care of the skin before a culture is: a note past the age that asks it."""
    return "note" if circumstances.culture is not None and circumstances.culture.is_past_chlorhexidine_age else "warn"


def _safety(key: str, level: str = "note") -> Caution:
    rule = facts.safety()[key]
    return caution_of(level, rule.text, rule.marks[0])


def _short_of_air(first: PlannedTube, hematocrit: Fraction, site: Site) -> list[Caution]:
    """That the first tube behind a winged set, short by the air in its line, may not serve its tests."""
    access = facts.accesses()["winged-set"]
    drawn_ul = max(0, first.draw_ul - (access.dead_volume_ul or 0))
    left_ul = usable_ul(
        site.kinds[first.kind],
        Tube(draw_ul=drawn_ul, liquid_additive_ul=first.liquid_additive_ul),
        first.matrix or "whole-blood",
        hematocrit=hematocrit,
        recovery=site.planning.recovery,
    )
    if left_ul >= (first.needed_ul or 0):
        return []
    text = (
        f"{first.name}, first behind a winged set, may fill only to {millilitres_text(drawn_ul)} mL for the air in the "
        f"line: that yields {millilitres_text(left_ul)} mL of {first.matrix} and its tests need "
        f"{millilitres_text(first.needed_ul or 0)} mL; fill a tube to throw away first, or take a larger one"
    )
    return [caution_of("warn", text, access.marks[0], about=f"draw {first.draw}")]


def from_unplaced(unplaced: Iterable[Unplaced]) -> list[Caution]:
    """That tests were left out, first of all."""
    names = ", ".join(entry.test for entry in unplaced)
    return [caution_of("stop", f"left out of this draw: {names}; tell the ward")] if names else []


def from_cultures(asked: Mapping[int, CulturePlan], drawn: Mapping[int, CulturePlan]) -> list[Caution]:
    """That less blood is drawn for cultures than the table of weights asks, in `drawn` of what is `asked`."""
    found = []
    for draw, plan in drawn.items():
        wanted = asked[draw]
        if plan.blood_ul < wanted.blood_ul:
            sets = f"{wanted.sets} sets, " if wanted.sets > 1 else ""
            least = "set 1 alone, " if wanted.sets > 1 else ""
            text = (
                f"blood culture: {least}{millilitres_text(plan.blood_ul)} mL; the table of weights asks {sets}"
                f"{millilitres_text(wanted.blood_ul)} mL, and the blood limit has no room for them: a smaller culture "
                "finds less, tell the ward"
            )
            found.append(caution_of("warn", text))
    return found


def from_travel(
    asked: Iterable[Asked], tubes: Iterable[PlannedTube], shelf: Shelf, site: Site
) -> list[Caution]:
    """That no tube of a test would reach the bench in time, or only by windows wider than the site's."""
    lateness = _lateness_by_test(tubes, shelf, site)
    found = []
    for key in dict.fromkeys(a.test for a in asked):
        test = site.tests[key]
        if not test.accepts:
            continue
        late = lateness.get(key, ALWAYS_LATE)
        if late == ALWAYS_LATE and shelf.is_always_late(test):
            found.append(caution_of("stop", words_all_too_late(test, shelf.travel_min or 0), about=key))
        elif key in lateness and 0 < late < ALWAYS_LATE:
            found.append(caution_of("warn", words_barely_in_time(test, shelf.travel_min or 0), about=key))
    return found


def _lateness_by_test(tubes: Iterable[PlannedTube], shelf: Shelf, site: Site) -> dict[str, int]:
    """For each test in tubes, how late the latest of them is: a guest of the gas analyzer stands as the gases do."""
    found: dict[str, int] = {}
    for tube in tubes:
        way = shelf.way_of.get((tube.kind, tube.matrix or ""))
        for key in tube.tests if way is not None and tube.purpose == "collect" else ():
            test = site.tests[key]
            is_guest = is_served_by_analyzer(test, site.kinds[tube.kind].use, site)
            late = shelf.lateness(test, way, kept=() if is_guest else None) if way is not None else ALWAYS_LATE
            found[key] = max(late, found.get(key, 0))
    return found


def late_kinds(asked: Iterable[Asked], shelf: Shelf, site: Site) -> list[Reason]:
    """Why kinds that a test accepts were not taken: they would be too late."""
    return [
        msgspec.structs.replace(why, about=key)
        for key in dict.fromkeys(a.test for a in asked)
        if site.tests[key].accepts
        for why in shelf.late_ways(site.tests[key])
    ]


def in_order(cautions: Iterable[Caution]) -> tuple[Caution, ...]:
    """Gravest first, each once, otherwise as found.

    >>> [c.level for c in in_order([caution_of("note", "a"), caution_of("stop", "b")])]
    ['stop', 'note']
    """
    return tuple(sorted(dict.fromkeys(cautions), key=lambda c: _LEVELS[c.level]))


def volume_words(volumes: str, objective: str) -> list[Caution]:
    """That minimum volumes were taken, and why."""
    if volumes != "minimum":
        return []
    why = "the least blood was asked for" if objective == "least-blood" else "typical volumes do not fit"
    return [caution_of("warn", f"minimum volumes: {why}; a repeat of a test may need a new draw")]

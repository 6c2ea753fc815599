"""Wall cards as a use case: a site's order of draw, its tests and its bench, from its files and the facts."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping

from cubital import facts
from cubital.app.printing import DEFAULT_PAPER, cautions
from cubital.errors import PaperError
from cubital.facts.labels import PaperKey
from cubital.model import Accept, Site, Test, TubeKind
from cubital.paper.bench_card import BenchCard, BenchRow, BenchStep, CareLine, KeepLine, lay_bench_card
from cubital.paper.flow import Imprint, Section, print_sections
from cubital.paper.order_card import CardStep, CardTube, OrderCard, lay_order_card
from cubital.paper.tests_card import CardCap, TestCard, TestLine, lay_test_card
from cubital.paper.tube import TubePicture
from cubital.planning.lint import SKIN_PUNCTURE
from cubital.planning.rows import inversion_count, spin_words
from cubital.planning.sequence import Sequence
from cubital.planning.sizes import is_usable

CARDS = ("order", "tests", "bench")
_VENOUS = "straight-needle"
DO_NOT_SPIN, MOST_NAMED = "do_not_spin", 3
_MINUTES_PER_H, _MINUTES_PER_D = 60, 1440


def wall_card(which: str, site: Site, *, paper: PaperKey = DEFAULT_PAPER, today: datetime.date) -> bytes:
    """The PDF of one wall card of this site: `order`, `tests` or `bench`."""
    makers = {"order": _order_sections, "tests": _test_sections, "bench": _bench_sections}
    if which not in makers:
        raise PaperError(f"found {which[:40]!r}; expected one of {', '.join(CARDS)}; choose one", where="card")
    return print_sections(makers[which](site, paper, today), paper)


def _imprint(title: str, site: Site, today: datetime.date, *, detail: str = "", also: str = "") -> Imprint:
    more = (also,) if also else ()
    return Imprint(
        title=title, site=site.name, edition=facts.edition(), on=today, cautions=(*more, *cautions()), detail=detail
    )


def _stocked(site: Site, today: datetime.date) -> Mapping[str, TubeKind]:
    """The kinds of which a size is on the shelf and in date."""
    return {key: kind for key, kind in site.kinds.items() if any(is_usable(size, today) for size in kind.sizes)}


def _is_for_skin(kind: TubeKind) -> bool:
    return kind.accesses is not None and SKIN_PUNCTURE in kind.accesses


def _order_sections(site: Site, paper: PaperKey, today: datetime.date) -> list[Section]:
    kinds = _stocked(site, today)
    sections = []
    for access, is_skin in ((_VENOUS, False), (SKIN_PUNCTURE, True)):
        ours = [kind for kind in kinds.values() if _is_for_skin(kind) == is_skin]
        if not ours:
            continue
        sequence = Sequence(site, access)
        refused = [kind for kind in ours if sequence.refusal(kind) is not None]
        card = OrderCard(
            imprint=_imprint(
                "Order of draw" + (", skin puncture" if is_skin else ""), site, today,
                detail=f"by {sequence.policy.name}; within a step from top to bottom",
                also="The collar and the letters tell additives apart where stoppers are alike.",
            ),
            steps=tuple(_steps(sequence, [kind for kind in ours if kind not in refused])),
            unplaced=tuple(k.name for k in ours if k not in refused and sequence.find(k.key) is None),
        )  # fmt: skip
        sections.append(lay_order_card(card, paper))
    if not sections:
        raise PaperError("found no tube in stock; expected one kind at least; restock the site", where="tubes.toml")
    return sections


def _steps(sequence: Sequence, kinds: list[TubeKind]) -> Iterator[CardStep]:
    placed = [(rank.order, kind) for kind in kinds if (rank := sequence.find(kind.key)) is not None]
    placed.sort(key=lambda pair: (*pair[0], 0, 0, 0)[:5])
    for number, step in enumerate(sequence.policy.steps):
        tubes = tuple(_card_tube(kind, sequence) for order, kind in placed if order[0] == number)
        if tubes:
            yield CardStep(number=number + 1, name=step.name, rests_on=step.mark.label(), tubes=tubes)


def _card_tube(kind: TubeKind, sequence: Sequence) -> CardTube:
    additive = facts.additives()[kind.additive]
    rank = sequence.find(kind.key)
    remarks = ["house rule"] if rank is not None and rank.basis == "site" else []
    if sequence.access == _VENOUS and not kind.can_be_filled_by(_VENOUS):
        remarks.append("not by needle and holder")
    return CardTube(
        picture=_empty_picture(kind), name=kind.name, additive=additive.name + (", gel" if kind.gel else ""),
        letters=additive.letter_code or "", stopper=kind.stopper, inversions=inversion_count(kind),
        remark=", ".join(remarks),
    )  # fmt: skip


def _empty_picture(kind: TubeKind) -> TubePicture:
    return TubePicture(
        mark=kind.mark, family=facts.additives()[kind.additive].family, stopper=kind.stopper, gel=kind.gel,
        blood_ul=0, liquid_ul=max(size.liquid_additive_ul for size in kind.sizes),
        is_bottle=kind.additive == "culture-medium",
    )  # fmt: skip


def _cap(kind: TubeKind) -> CardCap:
    family = facts.additives()[kind.additive].family
    return CardCap(mark=kind.mark, family=family, stopper=kind.stopper, name=kind.name)


def _test_sections(site: Site, paper: PaperKey, today: datetime.date) -> list[Section]:
    kinds = _stocked(site, today)
    names = {key: site.names.get(key) or test.name for key, test in site.tests.items()}
    card = TestCard(
        imprint=_imprint(
            "Which tube for which test", site, today, detail="first choice first; stocked and in date on this day"
        ),
        lines=tuple(
            _test_line(names[key], site.tests[key], kinds)
            for key in sorted(site.tests, key=lambda k: names[k].casefold())
        ),
        legend=tuple(_cap(kind) for kind in kinds.values()),
    )
    return [lay_test_card(card, paper)]


def _test_line(name: str, test: Test, kinds: Mapping[str, TubeKind]) -> TestLine:
    keys = dict.fromkeys(key for accept in test.accepts for key in accept.tubes if key in kinds)
    known = facts.handling_terms()
    told = [" or ".join(dict.fromkeys(_matrix(accept) for accept in test.accepts if set(accept.tubes) & set(kinds)))]
    if test.culture is not None:
        wanted = (f"culture-{test.culture}", "culture-pediatric")
        bottles = [kind for kind in kinds.values() if kind.additive == "culture-medium"]
        keys = dict.fromkeys(kind.key for kind in bottles if test.culture == "set" or kind.use in wanted)
        told = ["which bottles, and how full, by the patient's weight"]
    elif not keys:
        told = ["NO TUBE FOR IT IN STOCK"]
    skin = [kinds[key].mark for key in keys if _is_for_skin(kinds[key])]
    told += [f"by skin puncture {' or '.join(skin)}"] if skin else []
    told += ["a tube of its own"] if test.own_tube else []
    told += [_phrase(known[term].instruction) for term in test.handling if term in known]
    caps = tuple(_cap(kinds[key]) for key in keys if not _is_for_skin(kinds[key]))
    return TestLine(name=name, caps=caps, told="; ".join(told))


def _phrase(instruction: str) -> str:
    """An instruction as one item of a list: no capital at the start, no stop at the end."""
    return instruction[:1].lower() + instruction[1:].rstrip(".")


def _matrix(accept: Accept) -> str:
    return accept.matrix.replace("-", " ")


def _bench_sections(site: Site, paper: PaperKey, today: datetime.date) -> list[Section]:
    keep_note = (
        "The mark ? says that a time is not known, the word no that the specimen must not be kept so. A dagger † marks "
        "times that rest on memory alone: confirm them with your own laboratory before relying on them."
    )
    card = BenchCard(
        imprint=_imprint(
            "At the bench", site, today, detail="what each tube goes through after the draw; a clot is seen, not timed"
        ),
        rows=bench_rows(site, today),
        care=tuple(_care_lines(site)),
        keep_imprint=_imprint(
            "How long it keeps", site, today, detail="until off the cells, then by warmth", also=keep_note
        ),
        keep=tuple(_keep_lines(site)),
    )
    return list(lay_bench_card(card, paper))


def bench_rows(site: Site, today: datetime.date) -> tuple[BenchRow, ...]:
    """What each stocked kind that a test takes goes through after the draw, in the order of the stock."""
    rows = (_bench_row(kind, site) for kind in _stocked(site, today).values())
    return tuple(row for row in rows if row is not None)


def _bench_row(kind: TubeKind, site: Site) -> BenchRow | None:
    uses = [(test, accept) for test in site.tests.values() for accept in test.accepts if kind.key in accept.tubes]
    matrices = {accept.matrix for _, accept in uses}
    if not matrices:
        return None
    steps: list[BenchStep] = []
    whole = [test for test, accept in uses if accept.matrix == "whole-blood"]
    if whole:
        banned = [test for test in whole if DO_NOT_SPIN in test.handling]
        if banned:
            others = f"; {len(whole) - len(banned)} others by their bench" if len(banned) < len(whole) else ""
            how = f"{_few(banned, site)}{others}"
            steps.append(BenchStep(verb="WHOLE BLOOD: DO NOT SPIN", how=how, is_ban=True))
        else:
            steps.append(BenchStep(verb="WHOLE BLOOD: AS DRAWN", how=f"{_few(whole, site)}, by their bench"))
    spun = " or ".join(sorted(matrices - {"whole-blood"}))
    if spun:
        steps += _spun_steps(kind, spun, [test for test, accept in uses if accept.matrix != "whole-blood"], bool(steps))
    return BenchRow(cap=_cap(kind), steps=tuple(steps))


def _few(tests: list[Test], site: Site) -> str:
    """The tests by name where they are few; else the first, and how many others."""
    names = [site.names.get(test.key) or test.name for test in tests]
    if len(names) <= MOST_NAMED:
        return " · ".join(names)
    return f"{names[0]} and {len(names) - 1} more"


def _spun_steps(kind: TubeKind, matrix: str, tests: list[Test], is_instead: bool) -> list[BenchStep]:
    """Clot, spin and separate; the first names the matrix, and stands beside a ban on spinning, never after it."""
    clotting = facts.clotting(kind.additive, kind.gel)
    steps = []
    if clotting is not None:
        how = f"{clotting.min_s // 60} min upright, at most {_time(clotting.max_s // 60)}"
        steps.append(BenchStep(verb="CLOT", how=how))
    spin = spin_words(facts.additives()[kind.additive].family, kind.gel, ())
    steps.append(BenchStep(verb="SPIN", how=spin or "not known: ask the maker"))
    how = "the gel does it: look for a whole barrier" if kind.gel else "move it off the cells"
    steps.append(BenchStep(verb="SEPARATE", how=f"{how}; {_within(tests)}"))
    steps[0] = BenchStep(verb=f"{matrix.upper()}: {steps[0].verb}", how=steps[0].how, is_instead=is_instead)
    return steps


def _within(tests: list[Test]) -> str:
    """How soon these tests must be off the cells: the span of their times, the shortest first."""
    waits = sorted(
        keeps.separate_within_min
        for test in tests
        if (keeps := facts.stability().get(test.key)) is not None and keeps.separate_within_min is not None
    )
    if not waits:
        return "time not known"
    if waits[0] == waits[-1]:
        return f"within {_time(waits[0])} of the draw"
    return f"within {_time(waits[0])} to {_time(waits[-1])} of the draw, by test: see the list"


def _care_lines(site: Site) -> Iterator[CareLine]:
    """Each instruction for the bench with the tests of this site that ask for it."""
    for key, term in facts.handling_terms().items():
        names = [site.names.get(k) or test.name for k, test in site.tests.items() if key in test.handling]
        if names:
            yield CareLine(instruction=term.instruction, tests=" · ".join(sorted(names, key=str.casefold)))


def _keep_lines(site: Site) -> Iterator[KeepLine]:
    names = {key: site.names.get(key) or test.name for key, test in site.tests.items()}
    for key in sorted(names, key=lambda k: names[k].casefold()):
        keeps = facts.stability().get(key)
        if keeps is None:
            yield KeepLine(test=names[key], separate="?", ambient="?", cold="?", frozen="?")
            continue
        is_recalled = all(mark.basis in ("memory", "common-practice") for mark in keeps.marks)
        frozen = None if keeps.frozen_d is None else keeps.frozen_d * _MINUTES_PER_D
        yield KeepLine(
            test=names[key] + (" †" if is_recalled else ""),
            separate="not spun" if keeps.separate_within_min is None else _time(keeps.separate_within_min),
            ambient=_kept(keeps.ambient_min), cold=_kept(keeps.refrigerated_min), frozen=_kept(frozen),
        )  # fmt: skip


def _kept(minutes: int | None) -> str:
    return "?" if minutes is None else _time(minutes) if minutes else "no"


def _time(minutes: int) -> str:
    """A time in the largest unit in which it is whole or large, rounded down.

    >>> _time(30), _time(120), _time(90), _time(20160), _time(60000)
    ('30 min', '2 h', '90 min', '14 d', '41 d')
    """
    if minutes >= 2 * _MINUTES_PER_D:
        return f"{minutes // _MINUTES_PER_D} d"
    if minutes % _MINUTES_PER_H == 0 or minutes >= 10 * _MINUTES_PER_H:
        return f"{minutes // _MINUTES_PER_H} h"
    return f"{minutes} min"

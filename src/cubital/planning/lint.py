"""What a site's files say that no plan could use: each finding warns until it is ordered."""

from __future__ import annotations

import difflib
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from fractions import Fraction

from cubital import facts
from cubital.model import Accept, Finding, Placing, Site, Test, Tube, TubeKind
from cubital.planning.capacity import usable_ul
from cubital.planning.gel import find_gels
from cubital.planning.sizes import find_empty_stock, find_odd_citrate, is_usable, warning

SKIN_PUNCTURE = "skin-puncture"
# A kind kept for one of these uses is placed only by a place that names the use.
OWN_PLACE_USES = ("trace-element", "lead")


class KeptLint:
    """What was found in single tests at one stock, so that a change of one test does not look at all others again."""

    def __init__(self) -> None:
        self._of: tuple[tuple[object, ...], dict[str, tuple[Test, tuple[Finding, ...]]]] = ((), {})

    def of(self, *rests_on: object) -> dict[str, tuple[Test, tuple[Finding, ...]]]:
        """What was found in each test, where all that it rests on besides the test is this; else nothing yet."""
        kept = self._of
        if kept[0] != rests_on:
            kept = self._of = (rests_on, {})
        return kept[1]


def lint(site: Site, *, on: date | None = None, kept: KeptLint | None = None) -> tuple[Finding, ...]:
    """Every warning about this site; `on` is the day for which expiry dates are looked at.

    A volume is held against the largest usable volume at the site's planning hematocrit, or at the
    highest shipped default of an adult. Without `on` no lot counts as expired. `kept` is what was found before.
    """
    return (
        *_find_unplaced(site),
        *find_empty_stock(site.kinds, on),
        *find_odd_citrate(site.kinds),
        *_find_odd_placings(site),
        *_find_idle_placings(site),
        *_find_odd_groups(site),
        *_find_odd_whole_blood(site),
        *_find_like_benches(site.tests.values()),
        *find_gels(site),
        *_find_unserved(site, on, kept),
    )


def is_placed(kind: TubeKind, policy: facts.OrderPolicy) -> bool:
    """Whether one of the steps of this policy places this kind."""
    return any(_fits(kind, place) for step in policy.steps for place in step.places)


def _fits(kind: TubeKind, place: facts.Place) -> bool:
    if place.additive != kind.additive or place.gel not in (None, kind.gel):
        return False
    if place.material not in (None, kind.material):
        return False
    return place.use == kind.use or (place.use is None and kind.use not in OWN_PLACE_USES)


def _find_unplaced(site: Site) -> Iterator[Finding]:
    policies = facts.order_policies()
    housed = {p.kind: p for p in site.planning.placings}
    for kind in site.kinds.values():
        for key in _policies_of(kind, site.planning.order_of_draw):
            policy = policies[key]
            refused = any(r.additive in (None, kind.additive) and r.use in (None, kind.use) for r in policy.refused)
            if refused or is_placed(kind, policy) or _is_housed(kind.key, housed, site.kinds, policy):
                continue
            choices = [c for s in policy.silent if _is_about(s, kind) for c in s.choices]
            said = f" ({'; '.join(choices)})" if choices else ""
            yield warning(
                "tubes.toml",
                f"[{kind.key}]",
                found=f"a kind that {policy.name} does not place",
                expected=f"a place in the order of draw{said}",
                remedy=f"write {kind.key} under [place] of site.toml",
            )


def _policies_of(kind: TubeKind, chosen: str) -> tuple[str, ...]:
    if kind.accesses is None or SKIN_PUNCTURE not in kind.accesses:
        return (chosen,)
    return (SKIN_PUNCTURE,) if set(kind.accesses) == {SKIN_PUNCTURE} else (SKIN_PUNCTURE, chosen)


def _is_about(silent: facts.Silent, kind: TubeKind) -> bool:
    return (
        silent.additive in (None, kind.additive) and silent.gel in (None, kind.gel) and silent.use in (None, kind.use)
    )


def _is_housed(
    key: str, housed: Mapping[str, Placing], kinds: Mapping[str, TubeKind], policy: facts.OrderPolicy
) -> bool:
    """Whether the site's own placings lead from this kind to one that the policy places."""
    seen = set()
    while key in housed and key not in seen:
        seen.add(key)
        key = beside(housed[key])
    return key not in seen and key in kinds and is_placed(kinds[key], policy)


def beside(placing: Placing) -> str:
    """The kind that a house placing names."""
    return placing.after or placing.before or placing.with_kind or ""


def _find_odd_placings(site: Site) -> Iterator[Finding]:
    for placing in site.planning.placings:
        for kind in (placing.kind, beside(placing)):
            if kind not in site.kinds:
                yield warning(
                    "site.toml",
                    f"[place] {placing.kind}",
                    found=f'"{kind}"',
                    expected="a tube kind of this site",
                    remedy=_near_remedy(kind, site.kinds),
                )


def _find_idle_placings(site: Site) -> Iterator[Finding]:
    """A warning where the house places a kind that its order of draw places: the order goes first, always."""
    policies = facts.order_policies()
    for placing in site.planning.placings:
        kind = site.kinds.get(placing.kind)
        if kind is None or beside(placing) not in site.kinds:
            continue
        is_pricked = kind.accesses is None or SKIN_PUNCTURE in kind.accesses
        keys = {*_policies_of(kind, site.planning.order_of_draw), *((SKIN_PUNCTURE,) if is_pricked else ())}
        if all(is_placed(kind, policies[key]) for key in keys):
            yield warning(
                "site.toml",
                f"[place] {placing.kind}",
                found=f"a kind that {policies[site.planning.order_of_draw].name} places itself; this line does nothing",
                expected="a kind that it leaves unsaid",
                remedy="take the line out, or choose another order_of_draw",
            )


def _find_odd_groups(site: Site) -> Iterator[Finding]:
    benches = {test.bench for test in site.tests.values()}
    for i, group in enumerate(site.planning.share_benches):
        for bench in group:
            if bench not in benches:
                yield warning(
                    "site.toml",
                    f"[planning] share_benches[{i}]",
                    found=f'"{bench}"',
                    expected="a bench that runs a test of this site",
                    remedy=_near_remedy(bench, benches),
                )


def _find_odd_whole_blood(site: Site) -> Iterator[Finding]:
    for i, key in enumerate(site.planning.whole_blood_tests):
        if key not in site.tests:
            said = [test.key for test in site.tests.values() if key.casefold() in map(str.casefold, test.also)]
            yield warning(
                "site.toml",
                f"[planning] whole_blood_tests[{i}]",
                found=f'"{key}"',
                expected="the key of a test of this site",
                remedy=f"write {said[0]}" if said else _near_remedy(key, site.tests),
            )


def _find_like_benches(tests: Iterable[Test]) -> Iterator[Finding]:
    """A warning for each bench that another one is, but for capitals and spaces: their tests would not share a tube."""
    first: dict[str, str] = {}
    counts = Counter(test.bench for test in tests)
    for bench in sorted(counts, key=lambda b: (-counts[b], b)):
        usual = first.setdefault("".join(bench.casefold().split()), bench)
        if usual != bench:
            yield warning(
                "tests.toml",
                f"bench {bench}",
                found=f'"{bench}" beside "{usual}"',
                expected="one spelling of a bench; as two they share no tube",
                remedy=f'write "{usual}" in each',
            )


def _find_unserved(site: Site, on: date | None, kept: KeptLint | None) -> Iterator[Finding]:
    usable = {k.key: tuple(t for t in k.sizes if is_usable(t, on)) for k in site.kinds.values()}
    hematocrit = site.planning.hematocrit or _adult_hematocrit()
    policy = site.planning
    told = {} if kept is None else kept.of(
        dict(site.kinds), usable, hematocrit, policy.recovery, policy.reserve_percent
    )  # fmt: skip
    for key, test in site.tests.items():
        found = told.get(key)
        if found is None or found[0] is not test:
            found = told[key] = (test, tuple(_find_in_test(site, test, usable, hematocrit)))
        yield from found[1]


def _find_in_test(
    site: Site, test: Test, usable: Mapping[str, tuple[Tube, ...]], hematocrit: Fraction
) -> Iterator[Finding]:
    """What no plan could use of one test; it rests on nothing of the site but its kinds, recovery and reserve."""
    if test.culture is not None:
        return
    for i, accept in enumerate(test.accepts):
        yield from _find_unknown_kinds(test, i, accept, site.kinds)
    stocked = [(a, k) for a in test.accepts for k in a.tubes if usable.get(k)]
    if stocked:
        yield from _find_too_large(site, test, stocked, usable, hematocrit)
        return
    asked = ", ".join(dict.fromkeys(k for a in test.accepts for k in a.tubes))
    yield warning(
        "tests.toml",
        f"[{test.key}] accepts",
        found=f"{asked}, none of them in stock",
        expected="a tube kind that this site stocks",
        remedy="stock one, or accept one that is stocked",
    )


def _find_unknown_kinds(
    test: Test, i: int, accept: Accept, kinds: Mapping[str, TubeKind]
) -> Iterator[Finding]:
    known = {*kinds, *facts.tube_table()}
    for j, kind in enumerate(accept.tubes):
        if kind not in known:
            named = [k.key for k in kinds.values() if k.stopper and kind.casefold() in k.stopper.casefold()]
            yield warning(
                "tests.toml",
                f"[{test.key}] accepts[{i}].tubes[{j}]",
                found=f'"{kind}"',
                expected="a tube kind of this site, or a shipped one" + (", not a colour" if named else ""),
                remedy=f"write {' or '.join(named[:4])}" if named else _near_remedy(kind, known),
            )


def _find_too_large(
    site: Site,
    test: Test,
    stocked: list[tuple[Accept, str]],
    usable: Mapping[str, tuple[Tube, ...]],
    hematocrit: Fraction,
) -> Iterator[Finding]:
    """A finding where no stocked tube yields the volume of the test, at typical volumes."""
    recovery = site.planning.recovery
    most = [
        (
            max(
                usable_ul(site.kinds[key], tube, accept.matrix, hematocrit=hematocrit, recovery=recovery)
                for tube in usable[key]
            ),
            accept,
            key,
        )
        for accept, key in stocked
    ]
    if any(yield_ul >= accept.volume_ul for yield_ul, accept, _ in most):
        yield from _find_reserve_too_large(site, test, most, hematocrit)
        return
    yield_ul, accept, key = max(most, key=lambda row: (row[0] - row[1].volume_ul, row[2]))
    i = test.accepts.index(accept)
    field = "volume_ul" if yield_ul >= accept.minimum_ul else "minimum_ul"
    found_ul = accept.volume_ul if field == "volume_ul" else accept.minimum_ul
    yield warning(
        "tests.toml",
        f"[{test.key}] accepts[{i}].{field}",
        found=str(found_ul),
        expected=f"at most {yield_ul} microlitres of {accept.matrix}, the most that a stocked tube yields "
        f"({key}, hematocrit {float(hematocrit):g})",
        remedy="stock a larger size, or correct the volume",
    )


def _find_reserve_too_large(
    site: Site, test: Test, most: list[tuple[int, Accept, str]], hematocrit: Fraction
) -> Iterator[Finding]:
    """A warning where no stocked tube yields what is to be kept of the test, were it drawn for nothing else.

    One that only does not fit beside the test is no fault of the site: a plan gives it up and says so.
    """
    percent = site.planning.reserve_percent
    if any(100 * yield_ul >= percent * accept.volume_ul for yield_ul, accept, _ in most):
        return
    yield_ul, accept, key = max(most, key=lambda row: (100 * row[0] - percent * row[1].volume_ul, row[2]))
    yield warning(
        "site.toml",
        "[planning] reserve_percent",
        found=f"{percent} % of {test.key}, {-(-percent * accept.volume_ul // 100)} microlitres to keep",
        expected=f"at most {yield_ul} microlitres of {accept.matrix}, the most that a stocked tube yields "
        f"({key}, hematocrit {float(hematocrit):g})",
        remedy="keep less, or stock a larger size",
    )


def _adult_hematocrit() -> Fraction:
    return Fraction(max(band.fraction for band in facts.hematocrits() if band.age_max_d is None))


def _near_remedy(word: str, known: Iterable[str]) -> str:
    near = difflib.get_close_matches(word[:80], list(known), 1, 0.6)
    return f"write {near[0]}" if near else "correct it, or take it out"

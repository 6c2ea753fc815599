"""The packing question as an integer program, in two forms, for any solver.

Patterns: one 0/1 column for each (set of requests, size, matrix) that a tube may hold. Assignment:
numbered bins of each (group, kind, matrix), each taking at most one size. Left to itself the form
with fewer variables is taken: measured on the families of tests/generators, both solvers are then
near the faster of the two forms.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field, replace
from functools import reduce
from math import gcd

from tests.oracles.instance import Filled, Instance, Option, first

Terms = list[tuple[int, int]]


@dataclass(slots=True)
class Row:
    """low <= sum of coefficient x variable <= high; None is open."""

    terms: Terms
    low: int | None
    high: int | None


@dataclass(slots=True)
class Program:
    """0/1 variables, rows, and what to minimise first, second and so on."""

    form: str
    count: int
    rows: list[Row]
    levels: list[Terms]
    patterns: list[Filled] = field(default_factory=list)
    bins: list[Bin] = field(default_factory=list)

    def decode(self, ones: set[int]) -> tuple[Filled, ...]:
        """The packing that these variables at one mean."""
        if self.form == "patterns":
            return tuple(self.patterns[j] for j in sorted(ones) if j < len(self.patterns))
        packing = []
        for bin_ in self.bins:
            members = tuple(i for i, j in bin_.takes.items() if j in ones)
            sizes = [index for index, j in bin_.sizes.items() if j in ones]
            if members:
                packing.append(Filled(sizes[0], bin_.matrix, members))
        return tuple(packing)


@dataclass(slots=True)
class Bin:
    """One numbered tube of a kind and matrix: the variables of its sizes and of what it takes."""

    kind: str
    matrix: str
    sizes: dict[int, int]
    takes: dict[int, int]


def sum_levels(program: Program) -> Program:
    """The same program with its levels in one sum, each weighing more than all later ones together.

    Faster for small orders than level by level; its weights stay far below 2^53 for the families here.
    """
    total: dict[int, int] = {}
    weight = 1
    for level in reversed(program.levels):
        for j, coefficient in level:
            total[j] = total.get(j, 0) + coefficient * weight
        weight *= 1 + sum(abs(coefficient) for _, coefficient in level)
    if weight > 2**50:
        raise ValueError("the levels weigh too much for one sum; take them level by level")
    return replace(program, levels=[list(total.items())])


class TooManyPatterns(Exception):
    """The pattern form would be too large."""


def stock_that_matters(instance: Instance) -> list[int | None]:
    """The stock of each size, None where no packing could ever run out of it."""
    wanted: dict[str, int] = defaultdict(int)
    for request in instance.requests:
        for kind in {option.kind for option in request.options}:
            wanted[kind] += 1
    return [
        None if size.stock is None or size.stock >= wanted[size.kind] else size.stock
        for size in instance.sizes
    ]


def formulate(instance: Instance, *, keep_all: bool, form: str = "auto") -> Program:
    """The integer program of this question; `keep_all` demands every request, else the most are kept."""
    if form == "assignment":
        return assign(instance, keep_all=keep_all)
    try:
        most = count_bin_variables(instance) if form == "auto" else None
        return list_patterns(instance, keep_all=keep_all, most=most)
    except TooManyPatterns:
        return assign(instance, keep_all=keep_all)


def list_patterns(instance: Instance, *, keep_all: bool, most: int | None = None) -> Program:
    """The pattern form. A column that an uncounted size beats is left out."""
    stock = stock_that_matters(instance)
    found: dict[tuple[int, ...], dict[int, tuple[int, str]]] = {}
    for (_, kind, matrix), offers in _offers(instance).items():
        sizes = [j for j, s in enumerate(instance.sizes) if s.kind == kind and stock[j] != 0]
        if not sizes:
            continue
        capacity_ul = {j: instance.sizes[j].capacity_ul.get(matrix, 0) for j in sizes}
        for members, need_ul, place in _subsets(instance, offers, max(capacity_ul.values()), most):
            columns = found.setdefault(members, {})
            for j in sizes:
                if need_ul <= capacity_ul[j] and (j not in columns or place < columns[j][0]):
                    columns[j] = (place, matrix)
            if most is not None and len(found) > most:
                raise TooManyPatterns
    patterns, places = _undominated(instance, found, stock)
    if most is not None and len(patterns) > most:
        raise TooManyPatterns
    return _pattern_program(instance, patterns, places, stock, keep_all=keep_all)


def _offers(instance: Instance) -> dict[tuple[str, str, str], list[tuple[int, Option]]]:
    offers: dict[tuple[str, str, str], list[tuple[int, Option]]] = defaultdict(list)
    for i, request in enumerate(instance.requests):
        for key in dict.fromkeys((o.kind, o.matrix) for o in request.options):
            option = first(request, *key)
            if option is not None:
                offers[request.group, option.kind, option.matrix].append((i, option))
    return offers


def _subsets(
    instance: Instance, offers: list[tuple[int, Option]], most_ul: int, most: int | None
) -> list[tuple[tuple[int, ...], int, int]]:
    """Every set of these requests that fits `most_ul`: members, need, places."""
    alone = [x for x in offers if instance.requests[x[0]].own_tube]
    together = [x for x in offers if not instance.requests[x[0]].own_tube]
    sets: list[tuple[tuple[int, ...], int, int]] = []
    for i, option in together:
        for members, need_ul, place in sets[:]:
            if need_ul + option.need_ul <= most_ul:
                sets.append(((*members, i), need_ul + option.need_ul, place + option.place))
        if most is not None and len(sets) > most:
            raise TooManyPatterns
        if option.need_ul <= most_ul:
            sets.append(((i,), option.need_ul, option.place))
    sets += [((i,), o.need_ul, o.place) for i, o in alone if o.need_ul <= most_ul]
    return sets


def _undominated(
    instance: Instance, found: dict[tuple[int, ...], dict[int, tuple[int, str]]], stock: list[int | None]
) -> tuple[list[Filled], list[int]]:
    patterns: list[Filled] = []
    places: list[int] = []
    for members, columns in found.items():
        free = [
            (instance.sizes[j].draw_ul, place, j) for j, (place, _) in columns.items() if stock[j] is None
        ]
        for j, (place, matrix) in columns.items():
            key = (instance.sizes[j].draw_ul, place, j)
            rivals = [other for other in free if other[2] != j and _stand_alike(instance, other[2], j)]
            if not any(_beats(other, key, instance.objective) for other in rivals):
                patterns.append(Filled(j, matrix, members))
                places.append(place)
    return patterns, places


def _stand_alike(instance: Instance, one: int, other: int) -> bool:
    """Whether a draw owes the same whichever of two sizes it has: where something is owed, if they are of one kind."""
    return not instance.tolls or instance.sizes[one].kind == instance.sizes[other].kind


def _beats(one: tuple[int, int, int], other: tuple[int, int, int], objective: str) -> bool:
    """Whether an uncounted column of (blood, preference, size) does all that another does, and no worse.

    Where preference comes before blood, neither may be larger: blood may still be short.
    """
    return one < other and (objective != "liked-kinds" or one[1] <= other[1])


def _pattern_program(
    instance: Instance, patterns: list[Filled], places: list[int], stock: list[int | None], *, keep_all: bool
) -> Program:
    covers: list[Terms] = [[] for _ in instance.requests]
    uses: list[Terms] = [[] for _ in instance.sizes]
    kept: list[Terms] = [[] for _ in range(instance.ranks)]
    for j, pattern in enumerate(patterns):
        uses[pattern.size].append((j, 1))
        for i in pattern.requests:
            covers[i].append((j, 1))
        for level, gained in enumerate(instance.count_ranks(pattern.requests)):
            if gained:
                kept[level].append((j, -gained))
    rows = [Row(terms, 1 if keep_all else None, 1) for terms in covers]
    for index, terms in enumerate(uses):
        if stock[index] is not None and terms:
            rows.append(Row(terms, None, stock[index]))
    draws_ul = [instance.sizes[p.size].draw_ul for p in patterns]
    blood: Terms = list(enumerate(draws_ul))
    count = len(patterns)
    if instance.tolls:
        columns = [(j, instance.requests[p.requests[0]].draw, p.size) for j, p in enumerate(patterns)]
        paid, owed, count = _tolls(instance, columns, count)
        blood += paid
        rows += owed
    if instance.budget_ul is not None:
        rows.append(_scaled(Row(blood, None, instance.budget_ul)))
    goals = _goals(instance, [(j, 1) for j in range(len(patterns))], blood, list(enumerate(places)))
    levels = goals if keep_all else [*[terms for terms in kept if terms], *goals]
    return Program("patterns", count, rows, levels, patterns=patterns)


def _tolls(instance: Instance, columns: list[tuple[int, str, int]], count: int) -> tuple[Terms, list[Row], int]:
    """What draws owe as blood terms and rows, over columns of (variable, draw, size); how many variables then."""
    blood: Terms = []
    rows: list[Row] = []
    for toll in instance.tolls:
        here = [(j, instance.sizes[size]) for j, draw, size in columns if draw == toll.draw]
        if toll.always_ul:
            blood.append((count, toll.always_ul))
            rows += [Row([(j, 1), (count, -1)], None, 0) for j, _ in here]
            count += 1
        if toll.ratio_ul:
            blood.append((count, toll.ratio_ul))
            for j, size in here:
                if size.additive in toll.additives:
                    # A ratio tube is paid for, or some other tube stands before it.
                    before = [
                        (k, -1)
                        for k, other in here
                        if toll.is_sparable and other.additive not in toll.additives and other.place < size.place
                    ]
                    rows.append(Row([(j, 1), (count, -1), *before], None, 0))
            count += 1
    return blood, rows, count


def _goals(instance: Instance, tubes: Terms, blood: Terms, preference: Terms) -> list[Terms]:
    step = reduce(gcd, (c for _, c in blood), 0) or 1
    blood = [(j, c // step) for j, c in blood]
    preference = [(j, c) for j, c in preference if c]
    levels = {
        "fewest-tubes": [tubes, blood, preference],
        "least-blood": [blood, tubes, preference],
        "liked-kinds": [tubes, preference, blood],
    }
    return levels[instance.objective]


def _scaled(row: Row) -> Row:
    step = reduce(gcd, (c for _, c in row.terms), 0) or 1
    high = None if row.high is None else row.high // step
    return Row([(j, c // step) for j, c in row.terms], row.low, high)


def count_bin_variables(instance: Instance) -> int:
    """How many variables the bin form needs."""
    stock = stock_that_matters(instance)
    count = 0
    for (_, kind, matrix), offers in _offers(instance).items():
        sizes = [j for j, s in enumerate(instance.sizes) if s.kind == kind and stock[j] != 0]
        most_ul = max((instance.sizes[j].capacity_ul.get(matrix, 0) for j in sizes), default=0)
        fitting = [x for x in offers if x[1].need_ul <= most_ul]
        bins = _most_bins(fitting, sizes, stock)
        count += bins * (len(sizes) + len(fitting)) - bins * (bins - 1) // 2
    return count


def assign(instance: Instance, *, keep_all: bool) -> Program:
    """The bin form. Bins of one kind are numbered by their first request, so copies cannot swap."""
    stock = stock_that_matters(instance)
    rows: list[Row] = []
    bins: list[Bin] = []
    covers: list[Terms] = [[] for _ in instance.requests]
    uses: list[Terms] = [[] for _ in instance.sizes]
    tubes: Terms = []
    blood: Terms = []
    preference: Terms = []
    columns: list[tuple[int, str, int]] = []
    count = 0
    for (_, kind, matrix), offers in _offers(instance).items():
        sizes = [j for j, s in enumerate(instance.sizes) if s.kind == kind and stock[j] != 0]
        capacity_ul = {j: instance.sizes[j].capacity_ul.get(matrix, 0) for j in sizes}
        most_ul = max(capacity_ul.values(), default=0)
        fitting = sorted((x for x in offers if x[1].need_ul <= most_ul), key=lambda x: -x[1].need_ul)
        before: Bin | None = None
        for number in range(_most_bins(fitting, sizes, stock)):
            ys = {j: count + n for n, j in enumerate(sizes)}
            count += len(ys)
            xs = {i: count + n for n, (i, _) in enumerate(fitting[number:])}
            count += len(xs)
            tubes += [(y, 1) for y in ys.values()]
            blood += [(y, instance.sizes[j].draw_ul) for j, y in ys.items()]
            columns += [(y, instance.requests[offers[0][0]].draw, j) for j, y in ys.items()]
            for i, option in fitting[number:]:
                covers[i].append((xs[i], 1))
                preference.append((xs[i], option.place))
            for j, y in ys.items():
                uses[j].append((y, 1))
            after = Bin(kind, matrix, ys, xs)
            if instance.tolls:  # an empty tube would spare a discard
                rows.append(Row([*((y, 1) for y in ys.values()), *((x, -1) for x in xs.values())], None, 0))
            rows += _bin_rows(instance, fitting[number:], after, capacity_ul, before)
            bins.append(after)
            before = after
    if instance.tolls:
        paid, owed, count = _tolls(instance, columns, count)
        blood += paid
        rows += owed
    rows += [Row(terms, 1 if keep_all else None, 1) for terms in covers]
    rows += [Row(t, None, stock[j]) for j, t in enumerate(uses) if stock[j] is not None and t]
    if instance.budget_ul is not None:
        rows.append(_scaled(Row(blood, None, instance.budget_ul)))
    kept: list[Terms] = [[] for _ in range(instance.ranks)]
    for i, request in enumerate(instance.requests):
        kept[request.rank] += [(x, -1) for x, _ in covers[i]]
    goals = _goals(instance, tubes, blood, preference)
    levels = goals if keep_all else [*[terms for terms in kept if terms], *goals]
    return Program("assignment", count, rows, levels, bins=bins)


def _most_bins(fitting: list[tuple[int, Option]], sizes: list[int], stock: list[int | None]) -> int:
    counted = [stock[j] for j in sizes]
    if any(s is None for s in counted):
        return len(fitting)
    return min(len(fitting), sum(s for s in counted if s is not None))


def _bin_rows(
    instance: Instance,
    offers: list[tuple[int, Option]],
    bin_: Bin,
    capacity_ul: dict[int, int],
    before: Bin | None,
) -> list[Row]:
    """One size at most, what fits, nothing in a closed bin, own-tube requests alone, bins in order."""
    opened = list(bin_.sizes.values())
    rows = [Row([(y, 1) for y in opened], None, 1)]
    need: Terms = [(bin_.takes[i], o.need_ul) for i, o in offers]
    rows.append(_scaled(Row([*need, *((y, -capacity_ul[j]) for j, y in bin_.sizes.items())], None, 0)))
    for i, _ in offers:
        rows.append(Row([(bin_.takes[i], 1), *((y, -1) for y in opened)], None, 0))
        if instance.requests[i].own_tube:
            others = [x for other, x in bin_.takes.items() if other != i]
            rows += [Row([(bin_.takes[i], 1), (x, 1)], None, 1) for x in others]
    if before is not None:
        earlier: list[int] = [before.takes[i] for i in before.takes]
        order = list(before.takes)
        for i, _ in offers:
            rows.append(Row([(bin_.takes[i], 1), *((x, -1) for x in earlier[: order.index(i)])], None, 0))
    return rows

"""The optimum by plain recursion over every partition of the requests into tubes; for at most 8 requests."""

from __future__ import annotations

from itertools import combinations
from time import perf_counter

from tests.oracles.instance import Answer, Filled, Instance

_MOST = 8


def solve(instance: Instance, *, seconds: float | None = None) -> Answer | None:
    """The exact optimum; keeps the most of the first rank, then of the next, then the objective."""
    count = len(instance.requests)
    if count > _MOST:
        raise ValueError(f"{count} requests are too many for plain recursion")
    started = perf_counter()
    by_kept: dict[tuple[int, ...], list[tuple[int, ...]]] = {}
    for size in range(count + 1):
        for members in combinations(range(count), size):
            by_kept.setdefault(instance.count_ranks(members), []).append(members)
    for kept_counts in sorted(by_kept, reverse=True):
        search = _Search(instance)
        for members in by_kept[kept_counts]:
            search.extend(members, ())
        if search.best is not None:
            answer = instance.audit(search.packing)
            if seconds is not None and perf_counter() - started > seconds:
                return None
            return Answer(
                answer.kept, answer.tubes, answer.blood_ul, answer.preference, answer.packing,
                solve_s=perf_counter() - started, form="brute",
            )  # fmt: skip
    raise AssertionError("keeping nothing is always possible")


class _Search:
    """Depth-first over tubes: the first open request goes with every subset of the rest in every size."""

    def __init__(self, instance: Instance) -> None:
        self.instance = instance
        self.best: tuple[int, int, int] | None = None
        self.packing: tuple[Filled, ...] = ()
        self.left = [size.stock for size in instance.sizes]
        self.ways: dict[tuple[int, ...], list[tuple[int, str, int]]] = {}

    def ways_to_fill(self, members: tuple[int, ...]) -> list[tuple[int, str, int]]:
        """Every (size, matrix, preference) that holds exactly these requests in one tube."""
        if members not in self.ways:
            found = []
            for index, size in enumerate(self.instance.sizes):
                for matrix in size.capacity_ul:
                    cost = self.instance.holds(size, matrix, members)
                    if cost is not None:
                        found.append((index, matrix, cost))
            self.ways[members] = found
        return self.ways[members]

    def extend(
        self, rest: tuple[int, ...], packing: tuple[Filled, ...], blood_ul: int = 0, preference: int = 0
    ) -> None:
        """Fill the rest every way; every part of the objective only grows, so a worse start is cut."""
        value = self.instance.value(len(packing), blood_ul, preference)
        budget_ul = self.instance.budget_ul
        if (budget_ul is not None and blood_ul > budget_ul) or (self.best is not None and value >= self.best):
            return
        if not rest:
            self.settle(packing, blood_ul + self.instance.owed_ul(packing), preference)
            return
        head, tail = rest[0], rest[1:]
        for size in range(len(tail), -1, -1):
            for others in combinations(tail, size):
                members = (head, *others)
                remaining = tuple(i for i in tail if i not in others)
                for index, matrix, cost in self.ways_to_fill(members):
                    left = self.left[index]
                    if left == 0:
                        continue
                    if left is not None:
                        self.left[index] = left - 1
                    filled = (*packing, Filled(index, matrix, members))
                    draw_ul = self.instance.sizes[index].draw_ul
                    self.extend(remaining, filled, blood_ul + draw_ul, preference + cost)
                    self.left[index] = left

    def settle(self, packing: tuple[Filled, ...], blood_ul: int, preference: int) -> None:
        """Take this whole packing where it is within the blood and better than the best so far."""
        value = self.instance.value(len(packing), blood_ul, preference)
        budget_ul = self.instance.budget_ul
        if (budget_ul is None or blood_ul <= budget_ul) and (self.best is None or value < self.best):
            self.best, self.packing = value, packing

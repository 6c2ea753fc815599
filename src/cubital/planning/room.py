"""Whether tests can have room in tubes at all: two conditions that no assignment can escape.

* Hall's condition over subsets of tubes: the tests that can go nowhere else must fit, shares of a
  test allowed (P. Hall, J London Math Soc 1935;10:26-30; fractional form, by a greatest flow).
* Subset sums: what a tube can hold *exactly* is the largest sum of a subset of the needs that
  still fits, found with one shift-and-or of a whole-number bit set per test.
"""

from __future__ import annotations

from collections.abc import Sequence

# One test's ways: (tube index, microlitres needed there, preference place there).
Options = Sequence[tuple[int, int, int]]


def may_fit(tests: Sequence[Options], room: Sequence[int]) -> bool:
    """Whether subset sums and Hall's condition leave an assignment of these tests possible.

    `room` holds for each tube the microlitres left in it.
    """
    wanted: list[list[int]] = [[] for _ in room]
    masks_needs = []
    for options in tests:
        mask, least = 0, 1 << 60
        for tube, need, _ in options:
            mask |= 1 << tube
            if need < least:
                least = need
            wanted[tube].append(need)
        masks_needs.append((mask, least))
    caps = []
    for tube, needs in enumerate(wanted):
        if sum(needs) <= room[tube]:
            caps.append(sum(needs))
            continue
        sums, window = 1, (2 << room[tube]) - 1
        for need in needs:
            sums |= (sums << need) & window
        caps.append(sums.bit_length() - 1)
    return not hall_fails(masks_needs, caps)


def hall_fails(masks_needs: Sequence[tuple[int, int]], caps: Sequence[int]) -> int:
    """Tubes in which the tests that can go nowhere else do not fit, shares allowed; 0 when all fit.

    `masks_needs` holds for each test the bit set of tubes it may use and the least it needs there.
    A greatest flow of microlitres from tests to tubes is grown along shortest ways; where it stops
    short, the tubes reached are a set that fails Hall's condition (greatest flow, least cut).
    """
    wanted: dict[int, int] = {}
    for mask, least in masks_needs:
        wanted[mask] = wanted.get(mask, 0) + least
    left = list(caps)
    order = sorted(wanted, key=int.bit_count)
    flows: list[dict[int, int]] = []
    for mask in order:
        flow: dict[int, int] = {}
        need, tubes = wanted[mask], mask
        flows.append(flow)
        while tubes and need:
            low = tubes & -tubes
            tubes ^= low
            tube = low.bit_length() - 1
            push = min(need, left[tube])
            if push:
                flow[tube] = push
                left[tube] -= push
                need -= push
        while need:
            pushed, reached = _push(len(flows) - 1, need, order, flows, left)
            if not pushed:
                return reached
            need -= pushed
    return 0


def _push(
    source: int, need: int, order: Sequence[int], flows: list[dict[int, int]], left: list[int]
) -> tuple[int, int]:
    """One shortest way from this class of tests to a tube with room: what was pushed, the tubes reached."""
    came_from: dict[int, tuple[int, int]] = {}
    queue, seen, reached = [(source, -1)], {source}, 0
    for group, through in queue:
        tubes = order[group] & ~reached
        while tubes:
            low = tubes & -tubes
            tubes ^= low
            tube = low.bit_length() - 1
            reached |= low
            came_from[tube] = (group, through)
            if left[tube]:
                return _augment(tube, need, came_from, flows, left), reached
            for other, flow in enumerate(flows):
                if other not in seen and flow.get(tube):
                    seen.add(other)
                    queue.append((other, tube))
    return 0, reached


def _augment(
    tube: int, need: int, came_from: dict[int, tuple[int, int]], flows: list[dict[int, int]], left: list[int]
) -> int:
    push, here = min(need, left[tube]), tube
    while came_from[here][1] >= 0:
        group, here = came_from[here]
        push = min(push, flows[group][here])
    left[tube] -= push
    here = tube
    while here >= 0:
        group, before = came_from[here]
        flows[group][here] = flows[group].get(here, 0) + push
        if before >= 0:
            flows[group][before] -= push
        here = before
    return push

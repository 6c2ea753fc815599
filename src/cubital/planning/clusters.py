"""Which tests may share a tube at all: lots by draw and bench, and clusters by way."""

from __future__ import annotations

from collections.abc import Sequence

from cubital.planning.choices import Wanted


def lots(wanted: Sequence[Wanted]) -> dict[object, list[int]]:
    """The tests by what may share a tube at all."""
    found: dict[object, list[int]] = {}
    for number, test in enumerate(wanted):
        found.setdefault((number,) if test.own_tube else test.lot, []).append(number)
    return found


def clusters(wanted: Sequence[Wanted], members: Sequence[int]) -> list[list[int]]:
    """The tests split where no way is shared."""
    found: list[tuple[set[int], list[int]]] = []
    for number in members:
        ways, group = set(wanted[number].ways), [number]
        apart = []
        for other_ways, others in found:
            if ways.isdisjoint(other_ways):
                apart.append((other_ways, others))
            else:
                ways |= other_ways
                group = others + group
        found = [*apart, (ways, group)]
    return [sorted(group) for _, group in found]

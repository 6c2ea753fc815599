"""The tubes of an order's tests, at the volumes that fit: with a reserve, typical, minimum, or with tests left out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple, Protocol

from cubital.errors import NoTube
from cubital.planning.choices import Wanted
from cubital.planning.cleared import Cleared, Clearing, pack_cleared
from cubital.planning.clusters import lots
from cubital.planning.cost import PackObjective, levels_of
from cubital.planning.parts import Packed
from cubital.planning.stands import Stand
from cubital.planning.volumes import MINIMUM, TYPICAL, Volumes
from cubital.planning.wanted import Due, Wishes


class Tubing(NamedTuple):
    """The packing of an order's tests, at which volumes, and the reserve that was asked for and kept somewhere."""

    volumes: Volumes
    reserve_percent: int
    wanted: list[Wanted]
    cleared: Cleared


class _Packer(Protocol):
    def __call__(self, wanted: Sequence[Wanted], /) -> Cleared | None: ...


class _Fitting(Protocol):
    def __call__(
        self, volumes: Volumes, reserve_of: Mapping[int, int] | None = None, /
    ) -> tuple[list[Wanted], Cleared | None]: ...


class TubingMaker:
    """Packs the tests of one site's orders."""

    def __init__(self, wishes: Wishes, *, node_limit: int) -> None:
        self._wishes = wishes
        self._node_limit = node_limit

    def make(
        self, dues: Sequence[Due], stand: Stand, clearings: Mapping[int, Clearing], objective: PackObjective,
        reserve_percent: int, budget_ul: int | None, keep: frozenset[str],
    ) -> Tubing:  # fmt: skip
        """Typical volumes where they fit, with the reserve where it costs no tube; else minimum ones, else fewer tests.

        Within a budget typical volumes are tried in it before minimum ones.
        """

        def packed(wanted: Sequence[Wanted], may_drop: bool) -> Cleared | None:
            return pack_cleared(
                stand.shelf, wanted, clearings, stand.sequence, objective=objective, budget_ul=budget_ul,
                may_drop=may_drop, node_limit=self._node_limit,
            )  # fmt: skip

        def fit(
            volumes: Volumes, reserve_of: Mapping[int, int] | None = None, *, may_drop: bool = False
        ) -> tuple[list[Wanted], Cleared | None]:
            return self._with_hosts(dues, stand, volumes, keep, reserve_of, objective, lambda w: packed(w, may_drop))

        if objective != "least-blood":
            try:
                if reserve_percent:
                    found = self._with_reserve(len(dues), fit, reserve_percent, objective)
                    if found is not None:
                        return found
                wanted, cleared = fit(TYPICAL)
                if cleared is not None:
                    return Tubing(TYPICAL, 0, wanted, cleared)
            except NoTube:
                pass  # a volume over every tube at typical may fit at minimum; if not, this is raised there
        wanted, cleared = fit(MINIMUM)
        if cleared is None:
            wanted, cleared = fit(MINIMUM, may_drop=True)
        assert cleared is not None
        return Tubing(MINIMUM, 0, wanted, cleared)

    def _with_hosts(
        self, dues: Sequence[Due], stand: Stand, volumes: Volumes, keep: frozenset[str],
        reserve_of: Mapping[int, int] | None, objective: PackObjective, packed: _Packer,
    ) -> tuple[list[Wanted], Cleared | None]:  # fmt: skip
        """The packing in which every guest of the gas analyzer stands beside gases; None where nothing holds all.

        Guests that stand in a gas container alone are packed again without it. What was found first is a bound still:
        it leaves out a rule. Where the packing comes to more than that, nobody proved that it had to.
        """
        shut: frozenset[int] = frozenset()
        first: Cleared | None = None
        while True:
            wanted = self._wishes.wanted(dues, stand.shelf, volumes, keep, reserve_of, shut)
            cleared = packed(wanted)
            lone = None if cleared is None else self._wishes.lone_guests(cleared.packing, wanted, stand.shelf)
            if cleared is None or not lone:
                break
            first = first or cleared
            shut |= lone
        if first is None or cleared is None or _value(cleared, objective) == _value(first, objective):
            return wanted, cleared
        bound = min(first.bound, cleared.cost, key=lambda cost: levels_of(objective, *cost))
        return wanted, cleared._replace(bound=bound, finished=False)

    def _with_reserve(self, count: int, fit: _Fitting, percent: int, objective: PackObjective) -> Tubing | None:
        """The packing with a reserve in every lot where it costs no further tube, nor a better liked kind.

        A lot where it would is tried with half of the reserve, then with none. None where it fits nowhere.
        """
        volumes = Volumes("typical", percent)
        reserve_of = dict.fromkeys(range(count), percent)
        plain: dict[object, tuple[int, int]] | None = None
        for _ in range(4):
            wanted, cleared = fit(volumes, reserve_of)
            if cleared is None:
                return None
            if _is_least(wanted, cleared, objective):
                return Tubing(volumes, percent, wanted, cleared)
            worth = _worth_by_lot(wanted, cleared, objective)
            if plain is None:
                typical, without = fit(TYPICAL)
                if without is None:
                    return None
                plain = _worth_by_lot(typical, without, objective)
            dearer = [lot for lot, here in worth.items() if here > plain.get(lot, here)]
            if not dearer:
                return Tubing(volumes, percent, wanted, cleared)
            members = lots(wanted)
            for n in (n for lot in dearer for n in members[lot]):
                reserve_of[n] = reserve_of[n] // 2 if reserve_of[n] == percent else 0
        return None


def _value(cleared: Cleared, objective: PackObjective) -> tuple[object, ...]:
    return tuple(sorted(cleared.packing.dropped)), levels_of(objective, *cleared.cost)


def _worth_by_lot(
    wanted: Sequence[Wanted], cleared: Cleared, objective: PackObjective
) -> dict[object, tuple[int, int]]:
    """The tubes of each lot and, where liking comes before blood, its sum of places."""
    lot_of = {n: lot for lot, members in lots(wanted).items() for n in members}
    found: dict[object, tuple[int, int]] = dict.fromkeys(lot_of.values(), (0, 0))
    for tube in cleared.packing.tubes:
        lot = lot_of[tube.members[0]]
        tubes, places = found[lot]
        if objective == "liked-kinds":
            places += sum([wanted[n].ways[tube.way][1] for n in tube.members])
        found[lot] = tubes + 1, places
    return found


def _is_least(wanted: Sequence[Wanted], cleared: Cleared, objective: PackObjective) -> bool:
    """Whether every lot has one tube and, where liking comes before blood, no way of all its tests is liked better."""
    tubes = cleared.packing.tubes
    if len(tubes) != len({(n,) if test.own_tube else test.lot for n, test in enumerate(wanted)}):
        return False
    return objective != "liked-kinds" or all(_is_best_way(tube, wanted) for tube in tubes)


def _is_best_way(tube: Packed, wanted: Sequence[Wanted]) -> bool:
    """Whether no other way that all tests of this tube share has a smaller sum of places, whatever it holds."""
    first, *others = [wanted[n].ways for n in tube.members]
    here = sum([ways[tube.way][1] for ways in (first, *others)])
    for way, (_, places) in first.items():
        for ways in others:
            if way not in ways:
                break
            places += ways[way][1]
        else:
            if places < here:
                return False
    return True

"""Which tubes balance each other in opposite places, and whether a rotor holds them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from cubital.model.centrifuge import Centrifuge, Filled, PlaceRow, WaitingTube

# What must be equal for two tubes to stand opposite each other; their loads must be near as well.
Likeness = tuple[str, int, str]


def likeness_of(tube: WaitingTube) -> Likeness:
    """What two tubes must share to balance: kind and size, width, and how the load was measured."""
    return tube.type, tube.diameter_um, tube.measure


def pair_up(loads_mg: Sequence[int], balance_mg: int) -> list[tuple[int, int | None]]:
    """The positions of rising loads as pairs that differ by `balance_mg` at most; the rest alone.

    No pairing has fewer who stand alone: of a pairing with the two lightest near each other and not
    paired, giving them to each other and their partners (which lie above both, near one of them)
    to each other leaves no more alone.

    >>> pair_up([10, 11, 30, 31, 32], 1)
    [(0, 1), (2, 3), (4, None)]
    """
    found: list[tuple[int, int | None]] = []
    at = 0
    while at < len(loads_mg):
        is_near = at + 1 < len(loads_mg) and loads_mg[at + 1] - loads_mg[at] <= balance_mg
        found.append((at, at + 1 if is_near else None))
        at += 2 if is_near else 1
    return found


def fits(row: PlaceRow, diameter_um: int) -> bool:
    """Whether a tube of this outer diameter stands in these places."""
    return row.low_um <= diameter_um <= row.high_um


def rows_mask(centrifuge: Centrifuge, diameter_um: int) -> int:
    """The rows of places that take this width, one bit a row."""
    return sum(1 << place for place, row in enumerate(centrifuge.places) if fits(row, diameter_um))


def holds(demand: Mapping[int, int], capacities: Mapping[int, int]) -> bool:
    """Whether pairs wanted, by the rows they may use, all find a place.

    `capacities` gives every set of rows the pairs that it has: by Hall's theorem all find a place
    where no set of rows is asked for more by those who can go nowhere else.
    """
    return all(
        sum(pairs for mask, pairs in demand.items() if mask & ~rows == 0) <= most for rows, most in capacities.items()
    )


def capacities_of(centrifuge: Centrifuge) -> dict[int, int]:
    """How many pairs each set of rows holds."""
    rows = centrifuge.places
    return {
        mask: sum(row.pairs for place, row in enumerate(rows) if mask >> place & 1) for mask in range(1 << len(rows))
    }


def place_labels(centrifuge: Centrifuge) -> list[list[tuple[str, str]]]:
    """The two opposite places of each pair, row by row, as they are numbered for people.

    Places in the rotor itself are numbered around it, each opposite the one half a turn on; places in
    buckets are numbered in each bucket, each opposite the same number in the opposite bucket.
    """
    whole = 2 * sum(row.pairs for row in centrifuge.places if row.buckets is None)
    found: list[list[tuple[str, str]]] = []
    around = 0
    counted: dict[str, int] = {}
    for row in centrifuge.places:
        if row.buckets is None:
            found.append([(str(n), str(n + whole // 2)) for n in range(around + 1, around + row.pairs + 1)])
            around += row.pairs
            continue
        one, other = row.buckets
        first = counted.get(one, 0)
        found.append([(f"{one}{n}", f"{other}{n}") for n in range(first + 1, first + row.pairs + 1)])
        counted[one] = counted[other] = first + row.pairs
    return found


def stand(tubes: Iterable[WaitingTube], centrifuge: Centrifuge) -> tuple[Filled, ...]:
    """Every tube in a place, blanks named, opposite places balanced; the rotor must hold them.

    Pairs go where fewest rows take them first, moved on along the rows where one is full.
    """
    groups: dict[Likeness, list[WaitingTube]] = {}
    for tube in tubes:
        groups.setdefault(likeness_of(tube), []).append(tube)
    pairs: list[tuple[WaitingTube, WaitingTube | None]] = []
    for _, group in sorted(groups.items()):
        group.sort(key=lambda tube: (tube.load_mg, tube.id))
        paired = pair_up([tube.load_mg for tube in group], centrifuge.balance_mg)
        pairs += [(group[one], None if other is None else group[other]) for one, other in paired]
    masks = [rows_mask(centrifuge, pair[0].diameter_um) for pair in pairs]
    chosen = _rows_for(masks, [row.pairs for row in centrifuge.places])
    labels = place_labels(centrifuge)
    found: list[list[Filled]] = [[] for _ in labels]
    for (one, other), row in zip(pairs, chosen, strict=True):
        here, there = labels[row].pop(0)
        like = one.id if other is None else None
        found[row] += [
            Filled(place=here, opposite=there, tube=one.id),
            Filled(place=there, opposite=here, tube=None if other is None else other.id, like=like),
        ]
    return tuple(filled for row in found for filled in row)


def _rows_for(masks: Sequence[int], room: Sequence[int]) -> list[int]:
    """A row for each pair, by augmenting paths; `ValueError` where there is none."""
    taken: list[list[int]] = [[] for _ in room]

    def settle(pair: int, seen: set[int]) -> bool:
        for row in range(len(room)):
            if not masks[pair] >> row & 1 or row in seen:
                continue
            seen.add(row)
            if len(taken[row]) < room[row]:
                taken[row].append(pair)
                return True
            for place, other in enumerate(taken[row]):
                if settle(other, seen):
                    taken[row][place] = pair
                    return True
        return False

    for pair in range(len(masks)):
        if not settle(pair, set()):
            raise ValueError("found more pairs than places; expected a load that the rotor holds")
    return [next(row for row, held in enumerate(taken) if pair in held) for pair in range(len(masks))]

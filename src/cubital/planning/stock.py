"""Whether a counted stock can hold the tests that nothing else serves: necessary conditions only.

Each such test takes a share of one piece of an item, at least the least share it takes in any lane.
Pieces are then bins of one size, whatever lanes they would be drawn for, so a packing that exists
passes here, and what fails here has none.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from cubital.planning.assignment import Unfit, assign
from cubital.planning.question import ENDLESS, Entry, bits
from cubital.planning.room import hall_fails

WHOLE = 1 << 20
_MOST_PIECES = 64

# For one test: the least share of a piece that it takes, by item.
Shares = Mapping[int, int]
Test = Mapping[int, tuple[int, int]]


def scarce_shares(
    tests: Iterable[tuple[Test, int]], entries: Sequence[Entry], stock: Mapping[int, int]
) -> list[Shares]:
    """The shares of the tests that only counted items serve; each test comes with its entries as a bit set."""
    found: list[Shares] = []
    for test, servers in tests:
        shares: dict[int, int] = {}
        for e in bits(servers):
            entry = entries[e]
            if stock.get(entry.item, ENDLESS) >= ENDLESS:
                shares = {}
                break
            share = test[entry.lane][0] * WHOLE // entry.cap_ul
            shares[entry.item] = min(share, shares.get(entry.item, WHOLE))
        if shares:
            found.append(shares)
    return found


def fails_in_parts(tests: Sequence[Shares], stock: Mapping[int, int]) -> bool:
    """Whether the tests do not fit even when a test may be cut up (Hall's condition).

    It is asked once with the shares as they are, and once more with every share over a half counted whole
    and every smaller one as nothing, since two over a half never share a tube.
    """
    items = sorted({item for shares in tests for item in shares})
    index = {item: i for i, item in enumerate(items)}
    room = [stock[item] * WHOLE for item in items]
    masks = [(sum(1 << index[item] for item in shares), min(shares.values())) for shares in tests]
    halves = [(mask, WHOLE if share > WHOLE // 2 else 0) for mask, share in masks]
    return bool(hall_fails(masks, room) or hall_fails(halves, room))


def fails_whole(tests: Sequence[Shares], stock: Mapping[int, int]) -> bool:
    """Whether it is proved that the tests do not fit, each whole in one piece; False proves nothing."""
    pieces: list[int] = []
    of_item: dict[int, range] = {}
    for item in sorted({item for shares in tests for item in shares}):
        count = min(stock[item], sum(item in shares for shares in tests))
        of_item[item] = range(len(pieces), len(pieces) + count)
        pieces += [item] * count
    if len(pieces) > _MOST_PIECES:
        return False
    options = [[(piece, share, 0) for item, share in shares.items() for piece in of_item[item]] for shares in tests]
    placed = assign(options, [WHOLE] * len(pieces), pieces, is_brief=True)
    return isinstance(placed, Unfit) and placed.proved and not placed.is_beaten

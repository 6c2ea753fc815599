"""Whether a counted stock can hold the tests that nothing else serves: necessary conditions only.

Each such test takes a share of one piece of an item, at least the least share it takes in any lane.
Pieces are then bins of one size, whatever lanes they would be drawn for, so a packing that exists
passes here, and what fails here has none.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from cubital.planning.assignment import Placed, Unfit, assign
from cubital.planning.question import ENDLESS, Entry, bits
from cubital.planning.room import hall_fails

WHOLE = 1 << 20
_MOST_PIECES = 64

# For one test: the least share of a piece that it takes, by item.
Shares = Mapping[int, int]
Test = Mapping[int, tuple[int, int]]


def scarce_shares(test: Test, servers: int, entries: Sequence[Entry], stock: Mapping[int, int]) -> Shares:
    """The shares of a test that only counted items serve; none where something else does. `servers`: its entries."""
    shares: dict[int, int] = {}
    for e in bits(servers):
        entry = entries[e]
        if stock.get(entry.item, ENDLESS) >= ENDLESS:
            return {}
        share = test[entry.lane][0] * WHOLE // entry.cap_ul
        shares[entry.item] = min(share, shares.get(entry.item, WHOLE))
    return shares


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
    pieces, options = _in_pieces(tests, stock)
    if len(pieces) > _MOST_PIECES:
        return False
    placed = assign(options, [WHOLE] * len(pieces), pieces, is_brief=True)
    return isinstance(placed, Unfit) and placed.proved and not placed.is_beaten


def least_left_out(tests: Sequence[Shares], stock: Mapping[int, int]) -> int:
    """No packing has room for all but fewer of these tests, each whole in one piece; 0 proves nothing."""
    pieces, options = _in_pieces(tests, stock)
    if not tests or len(pieces) > _MOST_PIECES:
        return 0
    # One more bin, which takes everything: a test in it is left out.
    out = len(pieces)
    with_out = [[*ways, (out, 0, 1)] for ways in options]
    placed = assign(with_out, [WHOLE] * (out + 1), [*pieces, -1], is_brief=True)
    return placed.least if isinstance(placed, Placed) else 0


def _in_pieces(
    tests: Sequence[Shares], stock: Mapping[int, int]
) -> tuple[list[int], list[list[tuple[int, int, int]]]]:
    """The item of every piece that may be wanted, and for each test the pieces it may go into with its shares."""
    pieces: list[int] = []
    of_item: dict[int, range] = {}
    for item in sorted({item for shares in tests for item in shares}):
        count = min(stock[item], sum(item in shares for shares in tests))
        of_item[item] = range(len(pieces), len(pieces) + count)
        pieces += [item] * count
    ways = [[(piece, share, 0) for item, share in shares.items() for piece in of_item[item]] for shares in tests]
    return pieces, ways

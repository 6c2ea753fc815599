"""What is left out first when blood is short: urgency, then the class of each test, as one rank."""

from __future__ import annotations

from collections.abc import Iterable

from cubital.model import Test
from cubital.model.vocabulary import PRIORITIES, RankKey

# A test that nobody ranked stands here.
UNRANKED: RankKey = "useful-today"
# A test that must stay for a draw to be what it is: it opens the draw in place of a discard.
FORCED = 0
# A test that the collector wants kept, whatever else is left out.
KEPT = 1
_CLASSES: dict[RankKey, int] = {
    "before-treatment": 0, "cannot-wait": 1, "decides-today": 2, "useful-today": 3, "can-wait": 5,
}  # fmt: skip
_EACH = 6
LEVELS = 2 + _EACH * len(PRIORITIES)
# The volume of a culture over its least gives way before any test that is useful today, however urgent the culture,
# and after a routine test that can wait: less of it is still a culture.
CULTURE_VOLUME = 2 + _EACH * (len(PRIORITIES) - 1) + 4
# One object, for most plans lose nothing.
_NOTHING_LOST = (0,) * LEVELS


def rank_of(test: Test, priority: int, *, is_kept: bool = False) -> int:
    """The rank of a test of this urgency (0 stat, 1 timed, 2 routine): what has a smaller rank is left out later.

    >>> from cubital.model import Test
    >>> potassium = Test(key="k", name="potassium", bench="chemistry", rank="cannot-wait")
    >>> rank_of(potassium, 0) < rank_of(potassium, 2), rank_of(potassium, 2, is_kept=True) == KEPT
    (True, True)
    """
    return KEPT if is_kept else 2 + _EACH * priority + _CLASSES[test.rank or UNRANKED]


def loss(ranks: Iterable[int], *, short_ul: int = 0) -> tuple[int, ...]:
    """What is given up, by rank: tests left out, and the microlitres that cultures are short of.

    >>> loss([2, 2]) > loss([4, 4, 4]), loss([], short_ul=5000) < loss([CULTURE_VOLUME - 1])
    (True, True)
    """
    lost = list(ranks)
    if not lost and not short_ul:
        return _NOTHING_LOST
    counts = [0] * LEVELS
    for rank in lost:
        counts[rank] += 1
    counts[CULTURE_VOLUME] += short_ul
    return tuple(counts)

"""Which tube kinds of a site go by the look of a stopper: for people who ask; no rule keys on a colour."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache

from cubital import facts
from cubital.model import TubeKind

MOST_TEXT = 80
_BETWEEN = re.compile(r"[\W_]+")


def kinds_by_look(text: str, kinds: Mapping[str, TubeKind]) -> tuple[str, ...]:
    """The keys of the kinds whose stopper looks so, by the words of the site, then by the shipped ones.

    Each word that was said must be a word of the look: "blue" is every blue stopper, "pale blue" one of them. A shipped
    word counts for a kind only where the site gives the same look to no other kind. Empty where nothing looks so.
    """
    asked = _look(text[:MOST_TEXT])
    if not asked:
        return ()
    own = tuple(key for key, kind in kinds.items() if kind.stopper and asked <= _look(kind.stopper))
    if own:
        return own
    return tuple(key for key in kinds if (shipped := _shipped(key)) and asked <= _look(shipped))


@lru_cache(maxsize=1024)
def _look(text: str) -> frozenset[str]:
    """The words of a look, each in one spelling."""
    words = facts.stopper_words()
    one_of = {word: group[0] for group in words.alike for word in group}
    said = (word for word in _BETWEEN.split(text.casefold()) if word and word not in words.silent)
    return frozenset(one_of.get(word, word) for word in said)


def _shipped(key: str) -> str | None:
    found = facts.tube_table().get(key, {}).get("stopper")
    return found if isinstance(found, str) else None

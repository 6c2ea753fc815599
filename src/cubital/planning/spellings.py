"""Names as a search compares them: folded once, so that a directory of a thousand is looked through as one types."""

from __future__ import annotations

import functools
import re
import unicodedata
from collections.abc import Iterable, Sequence
from typing import NamedTuple

_NOT_LETTERS = re.compile(r"[^\w%]|_")
_BETWEEN_WORDS = re.compile(r"[\s\-/,]+")


@functools.lru_cache(maxsize=20_000)
def fold(text: str) -> str:
    """The spelling under which names are compared: no case, spaces, hyphens or punctuation.

    >>> fold("Vitamin B-12"), fold("vitamin b12")
    ('vitaminb12', 'vitaminb12')
    """
    if not text.isascii():
        text = unicodedata.normalize("NFKC", text)
    return _NOT_LETTERS.sub("", text.casefold())


class Spelling(NamedTuple):
    """One name, its folded spelling and the folded words in it."""

    name: str
    folded: str
    words: tuple[str, ...]


def spelling(name: str) -> Spelling:
    """This name, folded.

    >>> spelling("anti-Xa, heparin").words
    ('anti', 'xa', 'heparin')
    """
    return Spelling(name, fold(name), tuple(fold(word) for word in _BETWEEN_WORDS.split(name)))


def words_of(text: str) -> tuple[str, ...]:
    """The folded words of a text; none is empty."""
    return tuple(word for word in map(fold, _BETWEEN_WORDS.split(text)) if word)


def rank(asked: str, asked_words: Sequence[str], names: Iterable[Spelling]) -> tuple[int, str] | None:
    """How well the best of these names fits, and that name; None where none does.

    0 is the name itself, 1 begins so, 2 has a word that begins with each word asked, 3 contains it. Of two that fit
    alike the shorter is better.
    """
    best: tuple[int, int, str] | None = None
    for name, folded, words in names:
        if folded.startswith(asked):
            found = 0 if folded == asked else 1
        elif _begin(words, asked_words):
            found = 2
        elif len(asked) >= 3 and asked in folded:
            found = 3
        else:
            continue
        if best is None or (found, len(name)) < best[:2]:
            best = (found, len(name), name)
    return None if best is None else (best[0], best[2])


def _begin(words: Sequence[str], asked_words: Sequence[str]) -> bool:
    """Whether each word asked begins one of these."""
    for asked in asked_words:
        for word in words:
            if word.startswith(asked):
                break
        else:
            return False
    return True

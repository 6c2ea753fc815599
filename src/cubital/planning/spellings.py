"""Names as a search compares them: folded once, so that a directory of a thousand is looked through as one types."""

from __future__ import annotations

import difflib
import functools
import re
import unicodedata
from collections.abc import Iterable, Sequence
from typing import NamedTuple

MOST_NEARLY, LEAST_ALIKE, MOST_LENGTHS_APART = 5, 0.66, 4

_NOT_LETTERS = re.compile(r"[^\w%]|_")
_BETWEEN_WORDS = re.compile(r"[\s\-/,]+")
# Letters are counted in this many places of this many bits; two letters of one place only loosen the bound.
_PLACES, _BITS = 64, 8


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


class NearSpellings:
    """Folded names, and which of them a misspelled one comes near."""

    def __init__(self, folded: Iterable[str]) -> None:
        self._letters = [(name, len(name), *_count(name)) for name in folded]

    def near(self, asked: str) -> list[str]:
        """The names that differ little from this one, nearest first; at most five.

        >>> NearSpellings(["potassium", "phosphate"]).near("potasium")
        ['potassium']
        """
        mask, over = _count(asked)
        length = len(asked)
        # difflib's own quick bound, twice the common letters over all letters, without building a table a name.
        near = [
            name
            for name, its_length, its_mask, its_over in self._letters
            if abs(its_length - length) <= MOST_LENGTHS_APART
            and 2 * ((mask & its_mask).bit_count() + min(over, its_over)) >= LEAST_ALIKE * (length + its_length)
        ]
        return difflib.get_close_matches(asked, near, MOST_NEARLY, LEAST_ALIKE)


def _count(text: str) -> tuple[int, int]:
    """The letters as ones, one bit a letter in the place of that letter, and how many found no more room there."""
    mask = over = 0
    counts = [0] * _PLACES
    for letter in text:
        place = ord(letter) % _PLACES
        if counts[place] == _BITS:
            over += 1
            continue
        mask |= 1 << (place * _BITS + counts[place])
        counts[place] += 1
    return mask, over

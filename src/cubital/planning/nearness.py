"""Which names of a directory come really near a word that nobody knows, so that a wrong one is never offered.

A name is near where it says the same of its substance: each word that was asked is one of its words, with a slip at
most, or they share a rare word. Words that say nothing of the substance ("level", "direct") make no name near. A
letter, a figure or a numeral ("vitamin K", "factor XIII") is never taken for another one.
"""

from __future__ import annotations

import functools
import re
from collections import defaultdict
from collections.abc import Hashable, Iterable, Mapping, Sequence
from typing import Generic, NamedTuple, TypeVar

from cubital import facts

# What a slip may be: letters of the shorter word from which on two letters may be changed about, one and two be wrong.
# Figures of this project, held by the table of words in its tests: TIN is not TNI, lyme is not lytes.
SWAPPED, ONE_WRONG, TWO_WRONG = 4, 5, 8
# From here on the first letter may be the wrong one: shorter words that begin otherwise are other substances
# (citrate and nitrate, ethanol and methanol).
FIRST_WRONG = 8
LEAST_STEM, MOST_ENDING = 6, 2
MOST_RARE, LEAST_RARE_LETTERS = 3, 3
LEAST_BEGUN, LEAST_MIDDLE, LEAST_PLURAL = 3, 5, 5

_BETWEEN = re.compile(r"[\W_]+")
_NUMERAL = re.compile(r"[ivx]+|\d+|[a-z]{1,2}\d+[a-z]?|\d+[a-z]{1,2}|.{1,2}")
_DIGITS = re.compile(r"\d+")
# Letters are counted in this many places of this many bits; two letters of one place only loosen the bound.
_PLACES, _BITS = 64, 8

_E = TypeVar("_E", bound=Hashable)


class Nearness(NamedTuple):
    """How near an entry is: the grade, 0 the nearest, then letters wrong and words of the entry's name unasked."""

    grade: int
    wrong: int
    unasked: int


def parts_of(text: str) -> tuple[str, ...]:
    """The words of a name as they are compared: no case, British digraphs as American ones.

    >>> parts_of("Oestradiol, serum (E2)")
    ('estradiol', 'serum', 'e2')
    """
    return tuple(plain(word) for word in _BETWEEN.split(text.casefold()) if word)


def plain(word: str) -> str:
    """One word in one spelling: `ae` and `oe` are `e`, `sulph` is `sulf`, `troph` is `trop`, a plural is one of them.

    >>> plain("haemoglobin"), plain("sulphate"), plain("platelets"), plain("tacrolimus")
    ('hemoglobin', 'sulfate', 'platelet', 'tacrolimus')
    """
    if len(word) >= LEAST_PLURAL and word[-1] == "s" and word[-2] not in "sui":
        word = word[:-1]
    return word.replace("ae", "e").replace("oe", "e").replace("sulph", "sulf").replace("troph", "trop")


def is_numeral(word: str) -> bool:
    """Whether this word tells one of a kind from another: a letter or two, figures, a Roman numeral.

    >>> is_numeral("xiii"), is_numeral("b12"), is_numeral("zinc")
    (True, True, False)
    """
    return _NUMERAL.fullmatch(word) is not None


def slips(asked: str, name: str) -> int | None:
    """How many letters are wrong between two words that may be one word misspelled; None where they are two.

    >>> slips("potasium", "potassium"), slips("nitrate", "citrate"), slips("cyanide", "urea")
    (1, None, None)
    """
    if asked == name:
        return 0
    shorter = min(len(asked), len(name))
    if _DIGITS.findall(asked) != _DIGITS.findall(name):
        return None
    if shorter < ONE_WRONG:
        return 1 if shorter == SWAPPED and asked[0] == name[0] and sorted(asked) == sorted(name) else None
    most = 2 if shorter >= TWO_WRONG else 1
    if asked[0] != name[0]:
        is_swapped = asked[:2] == name[1::-1]
        if not is_swapped and (len(asked) != len(name) or shorter < FIRST_WRONG):
            return None
        most = 1
    return distance(asked, name, most)


def distance(a: str, b: str, most: int) -> int | None:
    """Letters wrong, missing, too many or changed about with the next one; None where it is more than `most`.

    >>> distance("sodium", "soduim", 1), distance("sodium", "lithium", 2)
    (1, None)
    """
    if abs(len(a) - len(b)) > most:
        return None
    before: list[int] = []
    last = list(range(len(b) + 1))
    for i, letter in enumerate(a, start=1):
        row = [i]
        for j, other in enumerate(b, start=1):
            best = min(last[j] + 1, row[j - 1] + 1, last[j - 1] + (letter != other))
            if i > 1 and j > 1 and letter == b[j - 2] and a[i - 2] == other:
                best = min(best, before[j - 2] + 1)
            row.append(best)
        if min(row) > most:
            return None
        before, last = last, row
    return last[-1] if last[-1] <= most else None


def is_one_stem(a: str, b: str) -> bool:
    """Whether two words differ in their ending alone.

    >>> is_one_stem("ammonium", "ammonia"), is_one_stem("calcium", "calcitonin")
    (True, False)
    """
    same = 0
    for one, other in zip(a, b, strict=False):
        if one != other:
            break
        same += 1
    return same >= LEAST_STEM and max(len(a), len(b)) - same <= MOST_ENDING


def begins_nearly(asked: str, word: str) -> bool:
    """Whether this word begins with what was asked but for one letter wrong, missing, too many or changed about.

    >>> [begins_nearly(word, "potassium") for word in ("potasi", "potaxsi", "sodium")]
    [True, True, False]
    """
    same = 0
    for one, other in zip(asked, word, strict=False):
        if one != other:
            break
        same += 1
    rest, its_rest = asked[same:], word[same:]
    return (
        not rest
        or its_rest[1:].startswith(rest[1:])
        or its_rest.startswith(rest[1:])
        or its_rest[1:].startswith(rest)
        or (rest[1:2] + rest[:1] == its_rest[:2] and its_rest[2:].startswith(rest[2:]))
    )


class NearNames(Generic[_E]):
    """The names of a directory, and which entries an unknown word comes near.

    >>> names = NearNames([("b", ("bilirubin, direct",)), ("r", ("renin activity",)), ("k", ("potassium", "K"))])
    >>> list(names.near("direct renin")), list(names.near("serum potasium level")), list(names.near("cyanide"))
    (['r'], ['k'], [])
    """

    def __init__(self, entries: Iterable[tuple[_E, Sequence[str]]]) -> None:
        self._silent = frozenset(plain(word) for word in facts.name_words()["silent"].words)
        self._weak = frozenset(plain(word) for word in facts.name_words()["qualifier"].words)
        self._names: dict[_E, tuple[tuple[str, ...], ...]] = {}
        self._of_word: dict[str, set[_E]] = defaultdict(set)
        self._joined: dict[str, set[_E]] = defaultdict(set)
        for entry, names in entries:
            parts = tuple(self._telling(parts_of(name)) for name in names)
            self._names[entry] = parts
            for words in parts:
                self._joined["".join(words)].add(entry)
                for word in words:
                    self._of_word[word].add(entry)
        self._places = {entry: place for place, entry in enumerate(self._names)}
        self._words = [(word, len(word), *_count(word)) for word in self._of_word]
        self._wholes = [(name, len(name), *_count(name)) for name in self._joined]

    def near(self, text: str) -> dict[_E, Nearness]:
        """The entries that come near this text, nearest first, each with how near; none where nothing really does."""
        asked = self._telling(parts_of(text))
        if not asked:
            return {}
        found = self._by_words(asked)
        for entry, wrong in self._as_a_whole(asked).items():
            if entry not in found or found[entry].grade > 0:
                found[entry] = Nearness(0, wrong, 0)
        whole = "".join(asked)
        for name, entries in self._joined.items():
            is_begun = len(whole) >= LEAST_BEGUN and name.startswith(whole) and not is_numeral(asked[-1])
            if is_begun or (len(whole) >= LEAST_MIDDLE and whole in name and not any(map(is_numeral, asked))):
                for entry in entries:
                    found.setdefault(entry, Nearness(1 if is_begun else 2, 0, len(name) - len(whole)))
        return dict(sorted(found.items(), key=lambda item: (item[1], self._places[item[0]])))

    def begun_nearly(self, text: str) -> list[_E]:
        """The entries of which a word begins like this one, one letter wrong: what is still being typed.

        A short word is looked for as a whole: too many begin nearly like it.

        >>> NearNames([("k", ("potassium", "K"))]).begun_nearly("potasi")
        ['k']
        """
        asked = plain(text.casefold().strip())
        if len(asked) < SWAPPED or not asked.isalpha():
            return []
        is_short = len(asked) < LEAST_STEM
        found = [
            word
            for word in self._of_word
            if word[0] == asked[0]
            and (distance(asked, word, 1) is not None if is_short else begins_nearly(asked, word))
        ]
        return [entry for word in sorted(found, key=len) for entry in self._names if entry in self._of_word[word]]

    def _telling(self, words: Sequence[str]) -> tuple[str, ...]:
        """The words without those that say nothing, unless nothing else is there."""
        return tuple(word for word in words if word not in self._silent) or tuple(words)

    def _by_words(self, asked: Sequence[str]) -> dict[_E, Nearness]:
        """Entries that have each word asked; then those that share a rare word and as much as they do not share."""
        meant = {word: self._meant(word) for word in dict.fromkeys(asked)}
        places: dict[_E, dict[str, tuple[int, str]]] = defaultdict(dict)
        for word, matches in meant.items():
            for match, wrong in matches.items():
                for entry in self._of_word[match]:
                    places[entry][word] = min((wrong, match), places[entry].get(word, (wrong, match)))
        found = {}
        for entry, matched in places.items():
            grade = self._grade(entry, meant, tuple(matched))
            if grade is not None:
                wrong = sum(wrong for wrong, _ in matched.values())
                found[entry] = Nearness(grade, wrong, self._unasked(entry, {match for _, match in matched.values()}))
        return found

    def _unasked(self, entry: _E, matches: set[str]) -> int:
        """How many words the name of this entry that has most of these has besides."""
        _, others = max((len(matches & set(name)), -len(set(name) - matches)) for name in self._names[entry])
        return -others

    def _is_together(self, asked: Sequence[str], entry: _E) -> bool:
        """Whether a name of this entry has these words side by side, as "protein C activity" has "protein C"."""
        length = len(asked)
        return length > 1 and any(
            tuple(asked) == name[at : at + length]
            for name in self._names[entry]
            for at in range(len(name) - length + 1)
        )

    def _grade(self, entry: _E, meant: Mapping[str, Mapping[str, int]], matched: Sequence[str]) -> int | None:
        missed = [word for word in meant if word not in matched]
        if any(is_numeral(word) for word in missed):
            return None
        missed_strong = [word for word in missed if not self._is_weak(word)]
        strong = [word for word in matched if not self._is_weak(word)]
        if not strong:
            return len(missed) if not missed_strong and self._is_together(matched, entry) else None
        if not missed:
            return 0
        rare = any(self._is_rare(word, meant[word]) for word in strong)
        return 1 if not missed_strong or (rare and len(strong) >= len(missed_strong)) else None

    def _is_weak(self, word: str) -> bool:
        return word in self._weak or is_numeral(word)

    def _is_rare(self, asked: str, matches: Mapping[str, int]) -> bool:
        if len(asked) < LEAST_RARE_LETTERS:
            return False
        entries: set[_E] = set().union(*(self._of_word[word] for word in matches))
        return len(entries) <= MOST_RARE

    def _meant(self, asked: str) -> dict[str, int]:
        """The words of the directory that this one may be, each with the letters wrong."""
        if asked in self._of_word:
            return {asked: 0}
        if is_numeral(asked) or asked in self._weak:
            return {}
        found = {word: wrong for word, wrong in _slipped(asked, self._words) if not is_numeral(word)}
        if len(asked) >= LEAST_STEM:
            found |= {word: 2 for word in self._of_word if word not in found and is_one_stem(asked, word)}
        if found:
            return found
        return {word: len(word) - len(asked) for word in self._of_word if len(asked) >= 4 and word.startswith(asked)}

    def _as_a_whole(self, asked: Sequence[str]) -> dict[_E, int]:
        """Entries whose name is this text; or this text misspelled, with its words joined or taken apart."""
        whole = "".join(asked)
        if whole in self._joined:
            return dict.fromkeys(self._joined[whole], 0)
        if any(is_numeral(word) for word in asked) and len(asked) > 1:
            return {}
        found: dict[_E, int] = {}
        for name, wrong in _slipped(whole, self._wholes):
            for entry in self._joined[name]:
                fitting = [words for words in self._names[entry] if "".join(words) == name]
                joined = any((len(words) == 1) != (len(asked) == 1) for words in fitting)
                if joined and not any(is_numeral(word) for words in fitting for word in words):
                    found[entry] = min(wrong, found.get(entry, wrong))
        return found


def _slipped(asked: str, known: Iterable[tuple[str, int, int, int]]) -> Iterable[tuple[str, int]]:
    """The known words that differ from this one by a slip, and by how many letters."""
    mask, over = _count(asked)
    length = len(asked)
    most = 2 if length >= TWO_WRONG else 1
    for name, its_length, its_mask, its_over in known:
        # Every letter that only one of them has needs an edit of its own, and one edit mends two of them at most.
        if abs(its_length - length) <= most and (mask ^ its_mask).bit_count() - over - its_over <= 2 * most:
            wrong = slips(asked, name)
            if wrong is not None:
                yield name, wrong


@functools.lru_cache(maxsize=20_000)
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

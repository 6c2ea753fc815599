"""Names that say the same in other words, so that "Hep C virus Ab" is the hepatitis C antibody of the directory.

Two names say the same where they have the same words: in any order, without those that say nothing of which test
is meant, each in one spelling, abbreviation or national word. "Anti-" is an antibody, and so is an IgG, IgA or IgM.
A name in brackets or behind a stroke is a second name: the test is meant that all of them may mean. No word is
guessed for: what names two tests so is asked.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cache
from typing import Generic, TypeVar

from cubital import facts
from cubital.planning.nearness import plain

_PIECES = re.compile(r"[^\W\d_]+|\d+")
_SECOND_NAMES = re.compile(r"[()\[\]/+;=]|\s[-\u2013\u2014]\s")
_IN_BRACKETS = re.compile(r"\([^()]*\)")
_JOINED_ANTI = re.compile(r"\banti(?=[a-z]{7})", re.IGNORECASE)
_CAPITALS = re.compile(r"[A-Z][A-Z0-9]{1,5}")
_CLASSES = frozenset({"iga", "igd", "ige", "igg", "igm"})
# Clotting factors are written in Roman numerals and in figures; elsewhere an I, a V or an X is a letter.
_ROMAN = {"ii": "2", "v": "5", "vii": "7", "viii": "8", "ix": "9", "x": "10", "xi": "11", "xii": "12", "xiii": "13"}

Wording = tuple[str, ...]
_E = TypeVar("_E")


def wording(text: str) -> Wording:
    """The words of a name as its paraphrases share them, sorted; empty where it says nothing of a test.

    >>> wording("Anti-HBs"), wording("HBs antibodies level")
    (('antibody', 'hbs'), ('antibody', 'hbs'))
    >>> wording("Factor XIII, Activity") == wording("factor 13 activity"), wording("level of the")
    (True, ())
    """
    ours, dropped, generic = _words()
    pieces = [ours.get(piece) or ours.get(plain(piece), plain(piece)) for piece in _PIECES.findall(text.casefold())]
    if "factor" in pieces:
        pieces = [_ROMAN.get(piece, piece) for piece in pieces]
    telling = [piece for piece in pieces if piece not in dropped]
    if "anti" in telling and len(telling) > 1:
        telling = [*(piece for piece in telling if piece != "anti"), "antibody"]
    if _CLASSES & set(telling):
        telling = [piece for piece in telling if piece != "antibody"]
    return () if generic.issuperset(telling) else tuple(sorted(set(telling)))


def names_within(text: str) -> tuple[str, ...]:
    """The names that one text gives of a test, where it gives several; empty where it gives one.

    >>> names_within("Alanine Aminotransferase (ALT)"), names_within("ALT")
    (('Alanine Aminotransferase', 'ALT'), ())
    """
    inside = "/".join(_IN_BRACKETS.findall(text))
    parts = _SECOND_NAMES.split(f"{_IN_BRACKETS.sub(' ', text)}/{inside}")
    names = tuple(" ".join(part.split()) for part in parts if part.strip())
    return names if len(names) > 1 else ()


def is_short_for(short: str, name: str) -> bool:
    """Whether these are capitals that this name begins with and has in this order, and so say nothing more.

    >>> is_short_for("RDT", "rapid diagnostic test"), is_short_for("ICA", "calcium"), is_short_for("newborn", "new")
    (True, False, False)
    """
    if not _CAPITALS.fullmatch(short):
        return False
    letters = iter(letter for letter in name.casefold() if letter.isalnum())
    initial = any(word.startswith(short[0].casefold()) for word in _PIECES.findall(name.casefold()))
    return initial and all(letter in letters for letter in short.casefold())


class Paraphrases(Generic[_E]):
    """The names of a directory by their wordings.

    >>> names = Paraphrases([("c", ("hepatitis C antibody",)), ("k", ("potassium",))], {})
    >>> names.meant("Hep C virus Ab"), names.meant("hepatitis C")
    (['c'], [])
    """

    def __init__(self, entries: Iterable[tuple[_E, Sequence[str]]], several: Mapping[str, Sequence[_E]]) -> None:
        self._by_wording: dict[Wording, list[_E]] = defaultdict(list)
        for entry, names in entries:
            for name in names:
                self._claim(name, (entry,))
                if _IN_BRACKETS.search(name):
                    self._claim(_IN_BRACKETS.sub(" ", name), (entry,))
        for name, choices in several.items():
            self._claim(name, choices)

    def meant(self, text: str) -> list[_E]:
        """Every entry that says the same as this text; none where it says nothing, or nothing says so.

        "Anticardiolipin" is read as "anti-cardiolipin" where nothing goes by the one word.
        """
        return self._by_wording.get(wording(text)) or self._by_wording.get(wording(_JOINED_ANTI.sub("anti ", text)), [])

    def taken_from(self, text: str) -> Iterator[tuple[str, list[_E]]]:
        """What a text says without its serum, plasma or blood, and the word left out; "whole blood" is none of them."""
        said = wording(text)
        for matrix in facts.paraphrases().matrix:
            if matrix in said and "whole" not in said:
                rest = tuple(word for word in said if word != matrix)
                if found := self._by_wording.get(rest):
                    yield matrix, found

    def _claim(self, name: str, entries: Sequence[_E]) -> None:
        said = wording(name)
        if said:
            known = self._by_wording[said]
            known.extend(entry for entry in entries if entry not in known)


@cache
def _words() -> tuple[Mapping[str, str], frozenset[str], frozenset[str]]:
    """Our word for each that is taken for one, the words that are left out, and those that name nothing alone."""
    known = facts.paraphrases()
    other = {*known.matrix, *known.dropped}
    ours = {}
    for group in known.alike:
        for word in group:
            ours[word] = plain(group[0])
            if plain(word) not in other:  # "bloods" are a panel, and "blood" is none
                ours[plain(word)] = plain(group[0])
    return ours, frozenset(map(plain, known.dropped)), frozenset(map(plain, known.generic))

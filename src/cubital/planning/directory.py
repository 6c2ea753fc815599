"""A site's test directory: which test or panel a name, an abbreviation or a code stands for."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cache, cached_property
from itertools import pairwise
from typing import Literal, TypeVar

import msgspec

from cubital import facts
from cubital.errors import AmbiguousTest, NotBloodTest, UnknownTest
from cubital.model import Panel, Site, Test
from cubital.planning.looks import kinds_by_look
from cubital.planning.nearness import NearNames, Nearness
from cubital.planning.paraphrases import Paraphrases, is_short_for, names_within
from cubital.planning.spellings import Spelling, fold, rank, spelling, words_of

EntryKind = Literal["test", "panel"]
Entry = tuple[EntryKind, str]

LOINC_SYSTEMS = frozenset({"http://loinc.org", "https://loinc.org", "urn:oid:2.16.840.1.113883.6.1", "loinc", "LN"})
# Terminologies of other matters, whose codes must not be read as a site's abbreviations ("E2", "K").
FOREIGN_SYSTEMS = (
    "http://snomed.info/",
    "http://hl7.org/fhir/sid/",
    "http://www.ama-assn.org/",
    "http://terminology.hl7.org/",
    "http://unitsofmeasure.org",
    "http://www.nlm.nih.gov/",
    "http://www.whocc.no/",
    "urn:iso:",
)
MOST_NEAR, MOST_NEAR_TEXT = 5, 80
MOST_TEXT = 300
# The rank of the first entry that is found by a slip alone.
NEARLY = 10

_LOINC = re.compile(r"[0-9]{1,7}-[0-9]")
# "Digoxin level" asks for digoxin: the word says that a number is wanted, and no name of a test.
_LEVEL = re.compile(r"[\s-]+levels?$", re.IGNORECASE)
_MATRIX = re.compile(r"(serum|plasma|blood)\s+", re.IGNORECASE)
# How many are wanted: it tells no test, but a letter and a figure would be taken for the name of one.
_QUANTITY = re.compile(r"\b(?:x\s?\d+|\d+\s?x|\d+\s+units?)(?!\w)", re.IGNORECASE)
_K = TypeVar("_K")


class Hit(msgspec.Struct, frozen=True, kw_only=True):
    """One entry that a search found; `matched` is the name of it that did, `rank` 0 the best."""

    kind: EntryKind
    key: str
    name: str
    also: tuple[str, ...]
    matched: str
    rank: int


def _is_a_slip(near: Nearness) -> bool:
    """Whether this is the whole of a name misspelled, or words of it as they are spelled."""
    return near.grade == 0 and (near.unasked == 0 or near.wrong == 0)


def is_loinc_shaped(code: str) -> bool:
    """Whether this is digits, a hyphen and one digit."""
    return _LOINC.fullmatch(code) is not None


def has_loinc_check_digit(code: str) -> bool:
    """Whether the last digit of a LOINC-shaped code is the mod 10 check digit of the rest.

    >>> has_loinc_check_digit("2823-3"), has_loinc_check_digit("2823-4")
    (True, False)
    """
    body, _, check = code.partition("-")
    total = 0
    for i, digit in enumerate(reversed(body)):
        doubled = int(digit) * (2 if i % 2 == 0 else 1)
        total += doubled - 9 if doubled > 9 else doubled
    return (10 - total % 10) % 10 == int(check)


class Directory:
    """The index of one site's tests and panels; build it once for a site and keep it."""

    def __init__(self, site: Site) -> None:
        self._tests: Mapping[str, Test] = site.tests
        self._panels: Mapping[str, Panel] = site.panels
        self._kinds = site.kinds
        self._site_ambiguous = site.ambiguous
        self._ambiguous = {fold(name): tuple(choices) for name, choices in site.ambiguous.items()}
        self._keys: dict[str, list[Entry]] = {}
        self._names: dict[str, list[Entry]] = {}
        self._codes: dict[tuple[str, str], list[Entry]] = {}
        for entry, record in self._entries():
            _claim(self._keys, fold(record.key), entry)
            for name in (record.key, record.name, *record.also):
                _claim(self._names, fold(name), entry)
            for system, code in record.codes.items():
                _claim(self._codes, (_system_key(system), code.casefold()), entry)
        # Most orders name tests by their keys, spelled as they stand: these are not folded again.
        self._spelled = {
            record.key: entry
            for entry, record in self._entries()
            if self.look_up(record.key) == [entry]
        }

    def resolve(self, text: str, *, system: str | None = None, where: str = "") -> Entry:
        """Which test or panel this text stands for, as its kind and its key.

        `system` is the code system the text is a code of; None is a name, an abbreviation or a
        bare LOINC code. Raises `UnknownTest` with near misses, `AmbiguousTest` with the choices, or
        `NotBloodTest` where the words ask for something else.

        >>> site = Site(name="s", kinds={}, tests={"potassium": Test(key="potassium", name="Potassium",
        ...     also=("K",), codes={"loinc": "2823-3"}, bench="chemistry")})
        >>> Directory(site).resolve("k"), Directory(site).resolve("2823-3", system="http://loinc.org")
        (('test', 'potassium'), ('test', 'potassium'))
        """
        if system is None and text in self._spelled:
            return self._spelled[text]
        found = self.look_up(text, system=system)
        if len(found) == 1:
            return found[0]
        if found:
            raise self._ambiguous_error(text, [key for _, key in found], where)
        folded = fold(text)
        if (system is None or is_site_system(system)) and folded in self._ambiguous:
            raise self._ambiguous_error(text, self._ambiguous[folded], where)
        if system is None and (bare := self._bare(text.strip())) is not None:
            return self.resolve(bare, where=where)
        if system is None or is_site_system(system):
            self._refuse_perhaps_elsewhere(text, where)
        if system is None and (meant := self._in_other_words(text[:MOST_TEXT])):
            if len(meant) > 1:
                raise self._ambiguous_error(text, [key for _, key in meant], where)
            return meant[0]
        if system is None or is_site_system(system):
            refuse_elsewhere(text, where=where)
        raise self._unknown_error(text, system, where)

    def look_up(self, text: str, *, system: str | None = None) -> list[Entry]:
        """Every entry that this text stands for: none, one, or several where it is not unique.

        A name that the trade uses for several tests counts as none here.
        """
        text = text.strip()
        if not text or len(text) > MOST_TEXT:
            return []
        if system is None and is_loinc_shaped(text):
            return self._codes.get(("loinc", text), [])
        if system is not None:
            by_code = self._codes.get((_system_key(system), text.casefold()))
            if by_code or not is_site_system(system):
                return by_code or []
        folded = fold(text)
        if folded in self._keys:
            return self._keys[folded]
        if folded in self._ambiguous:
            return []
        return self._names.get(folded) or self._by_site_code(text)

    def _bare(self, text: str) -> str | None:
        """The name in "digoxin level" or "serum zinc", where the directory knows it and takes that matrix."""
        bare = _LEVEL.sub("", text)
        if bare != text and (self.look_up(bare) or fold(bare) in self._ambiguous):
            return bare
        said = _MATRIX.match(bare)
        found = self.look_up(bare[said.end() :]) if said is not None else []
        if said is None or len(found) != 1 or found[0][0] != "test":
            return None
        is_taken = self._is_taken_from(said[1].casefold(), found[0][1])
        return bare[said.end() :] if is_taken else None

    def _in_other_words(self, text: str) -> list[Entry]:
        """What this text means in other words than the directory's: what says so, or what all its names may mean."""
        said = self._paraphrases.meant(text)
        if said:
            return said
        if names := names_within(text):
            return self._agreed(names)
        for matrix, found in self._paraphrases.taken_from(text):
            if len(found) == 1 and found[0][0] == "test" and self._is_taken_from(matrix, found[0][1]):
                return found
        return []

    def _agreed(self, names: Sequence[str]) -> list[Entry]:
        """What all these names of one test may mean; one that nobody knows counts where it is a slip of the test's."""
        meant = {name: self._may_mean(name) for name in names}
        known = [entries for entries in meant.values() if entries]
        if not known:
            return []
        agreed = [entry for entry in known[0] if all(entry in others for others in known[1:])]
        for name, entries in meant.items():
            if not entries and not is_short_for(name, names[0]):
                slips = self._near.near(name[:MOST_NEAR_TEXT])
                agreed = [entry for entry in agreed if entry in slips and _is_a_slip(slips[entry])]
        return agreed

    def _may_mean(self, name: str) -> list[Entry]:
        """Every entry that one name may mean, in its own words or in others."""
        several = [self._entry_of[key] for key in self._ambiguous.get(fold(name), ()) if key in self._entry_of]
        return self.look_up(name) or several or self._paraphrases.meant(name)

    def _is_taken_from(self, matrix: str, key: str) -> bool:
        return matrix == "blood" or any(accept.matrix == matrix for accept in self._tests[key].accepts)

    def near(self, text: str) -> tuple[str, ...]:
        """The keys whose names come really near this text, nearest first; at most five."""
        meant = [key for key, _ in _perhaps_elsewhere().get(fold(text), ()) if key in self._tests]
        asked = _QUANTITY.sub(" ", text[:MOST_NEAR_TEXT])
        near = [] if is_loinc_shaped(text.strip()) else [key for _, key in self._near.near(asked)]
        return tuple(dict.fromkeys((*meant, *near)))[:MOST_NEAR]

    def search(self, text: str, limit: int = 20) -> list[Hit]:
        """The entries that this text may mean, best first: exact, beginning so, containing it, nearly so.

        A text that is still being typed finds a name by its middle, and by a beginning with one letter wrong.
        """
        folded = fold(text[:MOST_TEXT])
        if not folded or limit < 1:
            return []
        hits: list[Hit] = []
        by_code = self.look_up(text)
        meant = (*self._ambiguous.get(folded, ()), *(key for key, _ in _perhaps_elsewhere().get(folded, ())))
        asked_words = words_of(text)
        for entry, record, names in self._searched:
            found = rank(folded, asked_words, names)
            if entry in by_code or record.key in meant:
                found = (0, found[1] if found else record.name)
            if found is not None:
                hits.append(_hit(entry[0], record, matched=found[1], rank=found[0]))
        if len(hits) < limit:
            hits.extend(self._nearly(text[:MOST_NEAR_TEXT], known={h.key for h in hits}))
        hits.sort(key=lambda h: (h.rank, len(h.matched), h.name.casefold(), h.key))
        return hits[:limit]

    def _nearly(self, text: str, *, known: set[str]) -> Iterator[Hit]:
        near = self._near.near(text)
        begun = dict.fromkeys(entry for entry in self._near.begun_nearly(text) if entry not in near)
        for place, (kind, key) in enumerate((*near, *begun)):
            if key not in known:
                known.add(key)
                record = self._tests[key] if kind == "test" else self._panels[key]
                yield _hit(kind, record, matched=record.name, rank=NEARLY + place)

    @cached_property
    def _searched(self) -> list[tuple[Entry, Test | Panel, tuple[Spelling, ...]]]:
        """Every entry with its names as a search compares them; made when one first searches."""
        return [
            (entry, record, tuple(spelling(name) for name in (record.name, record.key, *record.also)))
            for entry, record in self._entries()
        ]

    @cached_property
    def _entry_of(self) -> Mapping[str, Entry]:
        return {record.key: entry for entry, record in self._entries()}

    @cached_property
    def _paraphrases(self) -> Paraphrases[Entry]:
        """Made when a name is first asked that no name of the directory spells."""
        several = {
            name: [self._entry_of[key] for key in keys if key in self._entry_of]
            for name, keys in self._site_ambiguous.items()
        }
        names = ((entry, (record.name, record.key, *record.also)) for entry, record in self._entries())
        return Paraphrases(names, several)

    @cached_property
    def _near(self) -> NearNames[Entry]:
        return NearNames((entry, (record.name, record.key, *record.also)) for entry, record in self._entries())

    def _entries(self) -> Iterator[tuple[Entry, Test | Panel]]:
        for key, test in self._tests.items():
            yield ("test", key), test
        for key, panel in self._panels.items():
            yield ("panel", key), panel

    def _by_site_code(self, text: str) -> list[Entry]:
        folded = text.casefold()
        found: list[Entry] = []
        for (system, code), entries in self._codes.items():
            if code == folded and system != "loinc":
                found.extend(e for e in entries if e not in found)
        return found

    def _ambiguous_error(self, text: str, choices: Iterable[str], where: str) -> AmbiguousTest:
        keys = tuple(choices)
        return AmbiguousTest(
            f"found {_quoted(text)}, which stands for {len(keys)} tests; "
            f"expected one of: {', '.join(keys)}; write the one meant",
            where=where,
            asked=text[:MOST_TEXT],
            choices=keys,
        )

    def _refuse_perhaps_elsewhere(self, text: str, where: str) -> None:
        """Ask where the trade uses a name both for a test of this site and for what is not blood."""
        for key, name in _perhaps_elsewhere().get(fold(text), ()):
            if key in self._tests:
                raise AmbiguousTest(
                    f"found {_quoted(text)}, which stands for {key} and for a test of {name}, which is not blood; "
                    f"expected the one meant; write {key}, or send the other elsewhere",
                    where=where,
                    asked=text[:MOST_TEXT],
                    choices=(key,),
                )

    def _unknown_error(self, text: str, system: str | None, where: str) -> UnknownTest:
        looks = kinds_by_look(text, self._kinds) if system is None else ()
        near = self.near(text) if not looks and (system is None or is_site_system(system)) else ()
        hint = f"near: {', '.join(near)}" if near else "look it up in the directory"
        if looks:
            hint = f"a stopper that looks so is of {', '.join(looks)}, which is a tube and no test: name the test"
        if is_loinc_shaped(text.strip()) and not has_loinc_check_digit(text.strip()):
            hint = "its check digit is wrong, so a digit may be mistyped"
        of_system = f" of {system[:80]}" if system else ""
        return UnknownTest(
            f"found {_quoted(text)}{of_system}; expected a test or panel of this site; {hint}",
            where=where,
            asked=text[:MOST_TEXT],
            near=near,
            looks=looks,
        )


def refuse_elsewhere(text: str, *, where: str) -> None:
    """Refuse, as `NotBloodTest`, words that ask for something that is not blood."""
    words = [fold(word) for word in re.split(r"[^\w]+", text[:MOST_TEXT]) if word]
    pairs = [first + second for first, second in pairwise(words)]
    known = _words_elsewhere()
    for word in (*words, *pairs):
        if word in known:
            raise NotBloodTest(
                f"found {_quoted(text)}, which asks for {known[word]}; expected a blood test; send it elsewhere",
                where=where,
            )


@cache
def _words_elsewhere() -> Mapping[str, str]:
    return {fold(word): entry.name for entry in facts.elsewhere().values() for word in entry.words}


@cache
def _perhaps_elsewhere() -> Mapping[str, list[tuple[str, str]]]:
    """By folded name the tests of blood it may mean, each with what else it may mean."""
    found: dict[str, list[tuple[str, str]]] = {}
    for entry in facts.elsewhere().values():
        for name, key in entry.perhaps.items():
            found.setdefault(fold(name), []).append((key, entry.name))
    return found


def is_site_system(system: str) -> bool:
    """Whether codes of this system may be a site's own codes and abbreviations."""
    return system not in LOINC_SYSTEMS and not system.startswith(FOREIGN_SYSTEMS)


def _hit(kind: EntryKind, record: Test | Panel, *, matched: str, rank: int) -> Hit:
    return Hit(kind=kind, key=record.key, name=record.name, also=record.also, matched=matched, rank=rank)


def _system_key(system: str) -> str:
    return "loinc" if system in LOINC_SYSTEMS else system


def _claim(index: dict[_K, list[Entry]], name: _K, entry: Entry) -> None:
    owners = index.setdefault(name, [])
    if entry not in owners:
        owners.append(entry)


def _quoted(text: str) -> str:
    short = text if len(text) <= 60 else text[:57] + "..."
    return repr(short)

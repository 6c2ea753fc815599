"""The shipped directory of tests and panels, the names that are ambiguous, and how specimens keep."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType
from typing import Annotated, Any, Literal

import msgspec

from cubital.errors import FactsError
from cubital.facts.additives import Family, check_marks_of
from cubital.facts.directory_checks import refuse_names_of_two, refuse_panels_within, refuse_too_short
from cubital.facts.moments import anchors, moments, subjects
from cubital.facts.reading import family, read_table, refuse_unknown, shape
from cubital.facts.sources import Basis, Mark, check_mark, check_marks, entries
from cubital.facts.tubes import Matrix

Volume = Annotated[int, msgspec.Meta(gt=0)]
Whole = Annotated[int, msgspec.Meta(ge=0)]
Words = Annotated[str, msgspec.Meta(min_length=1)]
Claim = tuple[Basis, str]
KeptKey = Literal["cells", "ambient", "cold", "frozen"]
Rank = Literal["before-treatment", "cannot-wait", "decides-today", "useful-today", "can-wait"]

# The handling terms that a test may carry; each has its entry in handling.toml.
HANDLING = (
    "ice", "no_chill", "protect_from_light", "shade", "keep_closed", "warm", "no_tourniquet", "no_fist", "fasting",
    "full_tube", "double_spin", "platelet_poor", "do_not_spin", "supine", "posture", "rested", "no_hemolysis",
    "cold_spin", "room_temperature_spin", "spin_soon", "freeze_fast", "metal_free", "no_bubbles", "sterile",
    "label_by_hand", "no_alcohol_prep", "not_from_infusion_line", "plastic_tube", "no_pneumatic_tube",
    "first_use", "deliver_at_once", "mix_well",
)  # fmt: skip


class AcceptEntry(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One way to run a test as its file writes it."""

    matrix: Matrix
    tubes: Annotated[tuple[str, ...], msgspec.Meta(min_length=1)]
    volume_ul: Volume
    minimum_ul: Volume

    def __post_init__(self) -> None:
        if self.minimum_ul > self.volume_ul:
            raise ValueError(f"found minimum_ul {self.minimum_ul} over volume_ul {self.volume_ul}; expected at most it")


class TestEntry(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One test as its file writes it, without its handling terms, which are listed in `handling`."""

    __test__ = False  # pytest: a laboratory test, not one of ours

    name: Words
    bench: Words
    from_: dict[str, Claim | str] = msgspec.field(name="from")
    also: tuple[Words, ...] = ()
    codes: dict[str, str] = {}
    accepts: tuple[AcceptEntry, ...] = ()
    own_tube: bool = False
    timed: Words | None = None
    moment: str | None = None
    caution: tuple[Words, ...] = ()
    culture: Literal["aerobic", "anaerobic", "set"] | None = None
    handling: tuple[str, ...] = ()
    rank: Rank | None = None

    def __post_init__(self) -> None:
        if bool(self.accepts) == (self.culture is not None):
            raise ValueError("expected accepts, or culture for a blood culture, and not both")
        needs = {
            "codes": bool(self.codes),
            "accepts": bool(self.accepts),
            "volume": bool(self.accepts),
            "culture": self.culture is not None,
            "handling": bool(self.handling or self.caution or self.own_tube),
            "timed": self.timed is not None,
            "rank": self.rank is not None,
        }
        _check_claims(self.from_, needs)


class SeriesEntry(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One draw of a timed series as its file writes it."""

    at_min: Whole
    tests: Annotated[tuple[str, ...], msgspec.Meta(min_length=1)]


class PanelEntry(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One panel as its file writes it."""

    name: Words
    from_: dict[str, Claim | str] = msgspec.field(name="from")
    also: tuple[Words, ...] = ()
    codes: dict[str, str] = {}
    tests: tuple[str, ...] = ()
    series: tuple[SeriesEntry, ...] = ()
    anchor: str | None = None
    of: str | None = None

    def __post_init__(self) -> None:
        if bool(self.tests) == bool(self.series):
            raise ValueError("expected tests or series, and not both")
        times = [step.at_min for step in self.series]
        if times != sorted(set(times)):
            raise ValueError(f"found at_min {times}; expected rising times, each once")
        if (self.anchor is not None or self.of is not None) and not self.series:
            raise ValueError("found anchor or of without series; expected them beside series alone")
        _check_claims(self.from_, {"codes": bool(self.codes), "tests": bool(self.tests), "series": bool(self.series)})


class KeptMark(Mark, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What the times of a specimen rest on; `about` says which of them, and empty means all."""

    about: tuple[KeptKey, ...] = ()


class Stability(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How long a specimen keeps; 0 means it must not be kept so, None that it is not known.

    `separate_within_min` None means whole blood that is not spun. Empty `families` is any tube.
    `from_draw` counts the time in the room and in the cold from the draw, not from the separation. `unknown` says that
    nobody here knows, and stands alone.
    """

    marks: tuple[KeptMark, ...]
    separate_within_min: Volume | None = None
    ambient_min: Whole | None = None
    refrigerated_min: Whole | None = None
    frozen_d: Whole | None = None
    no_add_on: bool = False
    families: tuple[Family, ...] = ()
    from_draw: bool = False
    unknown: bool = False

    def __post_init__(self) -> None:
        times = (self.separate_within_min, self.ambient_min, self.refrigerated_min, self.frozen_d)
        if self.unknown and (self.no_add_on or self.families or self.from_draw or any(t is not None for t in times)):
            raise ValueError("found a time beside unknown; expected unknown = true alone with its marks")
        if not self.marks:
            raise ValueError("found no marks; expected at least one")

    def mark_of(self, kept: KeptKey) -> Mark:
        """What one time rests on: the first mark about it, else the first that is about all, else the first."""
        about = [mark for mark in self.marks if kept in mark.about]
        return (about or [mark for mark in self.marks if not mark.about] or list(self.marks))[0]


def _check_claims(claims: Mapping[str, Claim | str], needs: Mapping[str, bool]) -> None:
    for name, needed in needs.items():
        if needed and not isinstance(claims.get(name), tuple):
            raise ValueError(f"found no source for {name}; expected from.{name} = [basis, source]")
    for name, claim in claims.items():
        if name == "note":
            if not isinstance(claim, str):
                raise ValueError("found a note that is not text; expected text")
        elif not needs.get(name, False):
            raise ValueError(f"found from.{name}, which has no value beside it; expected none")


@cache
def tests_table() -> Mapping[str, Any]:
    """The shipped tests.toml, parsed: a directory in a site's own form, each entry with its `from` and its rank."""
    return load_tests_table(ranked(read_table("tests.toml"), ranks()), file="tests.toml")


def load_tests_table(table: Mapping[str, Any], *, file: str) -> Mapping[str, Any]:
    """The table itself, once every test in it has been checked."""
    for key, entry in entries(table, file=file):
        terms = tuple(term for term in HANDLING if term in entry)
        for term in terms:
            if entry[term] is not True:
                raise FactsError(
                    f"found {term} = {entry[term]!r}; expected true; leave it out where it does not apply",
                    where=f"{file} [{key}]",
                )
        plain = {name: value for name, value in entry.items() if name not in terms}
        test = shape({**plain, "handling": terms}, TestEntry, file=file, entry=key)
        _check_sources(test, file=file, key=key)
        _check_defined(test.moment, moments(), what="moment", where=f"{file} [{key}]")
        if test.moment is not None and moments()[test.moment].draws:
            raise FactsError(
                f"found moment {test.moment!r}, a whole series; expected one time; write the series as a panel",
                where=f"{file} [{key}]",
            )
    refuse_names_of_two(table, file=file)
    return MappingProxyType(dict(table))


class RankGroup(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Tests that stand alike when blood is short, and why; the first mark is what the rank rests on."""

    rank: Rank
    why: Words
    tests: Annotated[tuple[str, ...], msgspec.Meta(min_length=1)]
    marks: Annotated[tuple[Mark, ...], msgspec.Meta(min_length=1)]


@cache
def ranks() -> Mapping[str, RankGroup]:
    """How each shipped test stands when blood is short, by test key.

    >>> ranks()["blood-culture"].rank
    'before-treatment'
    """
    return load_ranks(read_table("ranks.toml"), file="ranks.toml")


def load_ranks(table: Mapping[str, Any], *, file: str) -> Mapping[str, RankGroup]:
    """The group of each test that a parsed table ranks; refuses a test that stands in two."""
    refuse_unknown(table, ("group",), file=file)
    found: dict[str, RankGroup] = {}
    for place, raw in enumerate(family(table, "group", file=file)):
        group = shape(raw, RankGroup, file=file, entry=f"group {place}")
        check_marks(group, file=file, entry=f"group {place}")
        for test in group.tests:
            if test in found:
                raise FactsError(
                    f"found {test!r} ranked twice; expected each test once; remove one of the two",
                    where=f"{file} [group {place}]",
                )
            found[test] = group
    return MappingProxyType(found)


def ranked(table: Mapping[str, Any], groups: Mapping[str, RankGroup]) -> Mapping[str, Any]:
    """The directory with the rank of each test and what that rests on; refuses one that has none."""
    for key in groups:
        if key not in table:
            raise FactsError(
                f"found {key!r}; expected a key of tests.toml; correct it or remove it", where="ranks.toml [group]"
            )
    found = {}
    for key, entry in entries(table, file="tests.toml"):
        group = groups.get(key)
        if group is None:
            raise FactsError("found no rank; expected one in ranks.toml; rank it there", where=f"tests.toml [{key}]")
        claims: Any = entry.get("from", {})
        claim = [group.marks[0].basis, group.marks[0].source]
        found[key] = {**entry, "rank": group.rank, "from": {**claims, "rank": claim}}
    return found


@cache
def panels_table() -> Mapping[str, Any]:
    """The shipped panels.toml, parsed: each panel with its tests or its timed series and its `from`."""
    return load_panels_table(read_table("panels.toml"), file="panels.toml")


def load_panels_table(table: Mapping[str, Any], *, file: str) -> Mapping[str, Any]:
    """The table itself, once every panel in it has been checked."""
    for key, entry in entries(table, file=file):
        panel = shape(entry, PanelEntry, file=file, entry=key)
        _check_sources(panel, file=file, key=key)
        _check_defined(panel.anchor, anchors(), what="anchor", where=f"{file} [{key}]")
        _check_defined(panel.of, subjects(), what="of", where=f"{file} [{key}]")
    refuse_names_of_two(table, file=file)
    refuse_panels_within(table, file=file)
    return MappingProxyType(dict(table))


def _check_defined(name: str | None, known: Mapping[str, object], *, what: str, where: str) -> None:
    if name is not None and name not in known:
        raise FactsError(
            f"found {what} {name!r}; expected one that moments.toml defines; correct the name or add it there",
            where=where,
        )


def _check_sources(entry: TestEntry | PanelEntry, *, file: str, key: str) -> None:
    for name, claim in entry.from_.items():
        if isinstance(claim, tuple):
            check_mark(claim[0], claim[1], where=f"{file} [{key}] from.{name}")


@cache
def ambiguous() -> Mapping[str, tuple[str, ...]]:
    """The names that stand for several tests or panels, with the keys they may mean.

    >>> ambiguous()["troponin"]
    ('troponin-t', 'troponin-i')
    """
    return load_ambiguous(read_table("ambiguous.toml"), file="ambiguous.toml")


def load_ambiguous(table: Mapping[str, Any], *, file: str) -> Mapping[str, tuple[str, ...]]:
    """The ambiguous names a parsed table holds; each must stand for two entries at least."""
    refuse_unknown(table, ("ambiguous",), file=file)
    found = shape(table.get("ambiguous"), dict[str, tuple[str, ...]], file=file, entry="ambiguous")
    for name, choices in found.items():
        if len(set(choices)) < 2:
            raise FactsError(
                f"found {len(set(choices))} meanings of {name!r}; expected two at least; make it an `also` of its test",
                where=f"{file} [ambiguous]",
            )
    return MappingProxyType(found)


class Elsewhere(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What is not blood, the words that ask for it, and names that may ask for it or for the blood test of that key."""

    name: str
    words: Annotated[tuple[str, ...], msgspec.Meta(min_length=1)]
    perhaps: Mapping[str, str] = {}
    marks: Annotated[tuple[Mark, ...], msgspec.Meta(min_length=1)]


@cache
def elsewhere() -> Mapping[str, Elsewhere]:
    """What requests ask that is not for blood, by key.

    >>> elsewhere()["urine"].words[0]
    'urine'
    """
    return load_elsewhere(read_table("elsewhere.toml"), file="elsewhere.toml")


def load_elsewhere(table: Mapping[str, Any], *, file: str) -> Mapping[str, Elsewhere]:
    """What a parsed table says is not for blood."""
    found = {key: shape(entry, Elsewhere, file=file, entry=key) for key, entry in entries(table, file=file)}
    check_marks_of(found, file=file)
    return MappingProxyType(found)


@cache
def stability() -> Mapping[str, Stability]:
    """How specimens keep, by test key; a test that is absent is not known."""
    return MappingProxyType({key: keeps for key, keeps in _all_stability().items() if not keeps.unknown})


@cache
def unknown_stability() -> Mapping[str, Stability]:
    """The tests of which the file says that nobody here knows how long their specimen keeps, by key.

    >>> unknown_stability()["hla-typing"].ambient_min is None
    True
    """
    return MappingProxyType({key: keeps for key, keeps in _all_stability().items() if keeps.unknown})


@cache
def _all_stability() -> Mapping[str, Stability]:
    return load_stability(read_table("stability.toml"), file="stability.toml")


def load_stability(table: Mapping[str, Any], *, file: str) -> Mapping[str, Stability]:
    """The stability a parsed table holds, by test key; refuses a time that its own clot and spin do not fit in."""
    found = {key: shape(entry, Stability, file=file, entry=key) for key, entry in entries(table, file=file)}
    check_marks_of(found, file=file)
    for key, keeps in found.items():
        if keeps.separate_within_min is not None and key in tests_table():
            refuse_too_short(tests_table()[key], keeps.separate_within_min, where=f"{file} [{key}]")
    return MappingProxyType(found)

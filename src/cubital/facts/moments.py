"""When blood is drawn, relative to what: the anchors, what they are about, and the moments of tests and series."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType
from typing import Annotated, Any, Literal

import msgspec

from cubital.errors import FactsError
from cubital.facts.reading import read_table, refuse_unknown, shape
from cubital.facts.sources import Mark, check_marks

Words = Annotated[str, msgspec.Meta(min_length=1)]
Marks = Annotated[tuple[Mark, ...], msgspec.Meta(min_length=1)]
Positive = Annotated[int, msgspec.Meta(gt=0)]
# Whether an event of an anchor may lie after the instant that a plan is made for: never, only where the plan draws
# before it, or always.
AheadKey = Literal["never", "planned", "always"]
HOUSE = ("loose-from", "before-within", "series-tolerance")
FAMILIES = ("house", "anchor", "subject", "moment")


class Anchor(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What minutes count from. `asks` is what must be asked where it was not said.

    In `name` and `asks`, `{of}` stands for the subject.
    `after` names an anchor of the same subject that cannot come later than this one. `is_time_of_day` counts from
    midnight, by the clocks of the site.
    """

    name: Words
    asks: Words
    marks: Marks
    ahead: AheadKey = "never"
    after: str | None = None
    is_time_of_day: bool = False


class Subject(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The drug, drink or procedure that an anchor is about; `act` is what is done between the draws around it."""

    name: Words
    marks: Marks
    also: tuple[Words, ...] = ()
    act: Words | None = None


class Moment(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """When the blood of a test, or of each draw of a series, is taken.

    Minutes count from the anchor; a time before it is negative, None is open. `draws` are the windows of a series, one
    a draw, the first before the anchor where it ends at 0, and `panels` the panels that are drawn so. `excludes` are
    keys of moments or of tests that never share its draw, `needs` the moment whose blood is drawn first. A moment that
    `is_stated` may be any time once it is written down: it asks and says, and never opens a draw. `outcome` is what
    blood of another time gets.
    """

    name: Words
    anchor: str
    label: Words
    marks: Marks
    of: str | None = None
    from_min: int | None = None
    to_min: int | None = None
    draws: tuple[tuple[int, int], ...] = ()
    panels: tuple[str, ...] = ()
    excludes: tuple[str, ...] = ()
    needs: str | None = None
    steps: tuple[Words, ...] = ()
    ask: tuple[Words, ...] = ()
    early: Words | None = None
    late: Words | None = None
    caution: Words | None = None
    outcome: Literal["comment", "refuse"] = "comment"
    is_stated: bool = False

    def __post_init__(self) -> None:
        is_window = self.from_min is not None or self.to_min is not None
        if self.draws and (is_window or self.is_stated):
            raise ValueError("found draws beside a window or is_stated; expected a series or one time")
        if not (is_window or self.draws or self.is_stated or self.excludes):
            raise ValueError("found no time; expected from_min, to_min, draws, is_stated or excludes")
        if self.panels and not self.draws:
            raise ValueError("found panels without draws; expected the draws of their series")
        if self.from_min is not None and self.to_min is not None and self.from_min > self.to_min:
            raise ValueError(f"found {self.from_min} to {self.to_min} min; expected a rising range")
        edges = [edge for draw in self.draws for edge in draw]
        rises = all(lo <= hi for lo, hi in self.draws) and all(
            earlier < later for (earlier, _), (later, _) in zip(self.draws, self.draws[1:], strict=False)
        )
        if len(self.draws) == 1 or not rises:
            raise ValueError(f"found draws at {edges}; expected two at least, each after the one before")

    @property
    def has_window(self) -> bool:
        """Whether it is a window that the draw must be in."""
        return not self.is_stated and (self.from_min is not None or self.to_min is not None)

    @property
    def is_before(self) -> bool:
        """Whether the blood is drawn before the anchor: a trough, a baseline."""
        return self.to_min is not None and self.to_min <= 0


class HouseMinutes(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A number of this project's own in minutes, with why."""

    minutes: Positive
    marks: Marks


class Moments(msgspec.Struct, frozen=True, kw_only=True):
    """All that moments.toml holds: the closed words of an event, the moments, and the house rules."""

    house: Mapping[str, HouseMinutes]
    anchors: Mapping[str, Anchor]
    subjects: Mapping[str, Subject]
    moments: Mapping[str, Moment]

    def anchor_words(self, anchor: str, of: str | None) -> str:
        """What minutes count from, in words.

        >>> moment_facts().anchor_words("infusion-end", "vancomycin")
        'the end of the infusion of vancomycin'
        """
        return self._words(self.anchors[anchor].name, of)

    def asks_words(self, anchor: str, of: str | None) -> str:
        """What must be asked to know when this anchor was or will be."""
        return self._words(self.anchors[anchor].asks, of)

    def _words(self, text: str, of: str | None) -> str:
        return text.replace("{of}", "the drug" if of is None else self.subjects[of].name)


@cache
def moment_facts() -> Moments:
    """All of moments.toml.

    >>> moment_facts().house["loose-from"].minutes
    240
    """
    return load_moments(read_table("moments.toml"), file="moments.toml")


def moments() -> Mapping[str, Moment]:
    """Every moment by key.

    >>> moments()["vancomycin-peak"].from_min
    60
    """
    return moment_facts().moments


@cache
def series_moments() -> Mapping[str, Moment]:
    """The series that each panel is drawn by, by the key of the panel."""
    return MappingProxyType({panel: moment for moment in moments().values() for panel in moment.panels})


def anchors() -> Mapping[str, Anchor]:
    """Every anchor by key: the closed list of what an event may be.

    >>> anchors()["next-dose"].ahead
    'always'
    """
    return moment_facts().anchors


def subjects() -> Mapping[str, Subject]:
    """Every drug, drink or procedure that an event may be about, by key."""
    return moment_facts().subjects


def load_moments(table: Mapping[str, Any], *, file: str) -> Moments:
    """The moments that a parsed table holds; refuses a moment of an anchor, a subject or a neighbour nobody defines."""
    refuse_unknown(table, FAMILIES, file=file)
    parts: dict[str, dict[str, Any]] = {}
    for name, record in (("house", HouseMinutes), ("anchor", Anchor), ("subject", Subject), ("moment", Moment)):
        raw = table.get(name)
        if not isinstance(raw, dict) or not raw:
            raise FactsError(f"found no [{name}.…]; expected at least one; add an entry", where=file)
        parts[name] = {key: shape(entry, record, file=file, entry=f"{name}.{key}") for key, entry in raw.items()}
        for key, entry in parts[name].items():
            check_marks(entry, file=file, entry=f"{name}.{key}")
    if set(parts["house"]) != set(HOUSE):
        raise FactsError(
            f"found [house] of {sorted(parts['house'])}; expected {sorted(HOUSE)}", where=f"{file} [house]"
        )
    found = Moments(
        house=MappingProxyType(parts["house"]), anchors=MappingProxyType(parts["anchor"]),
        subjects=MappingProxyType(parts["subject"]), moments=MappingProxyType(parts["moment"]),
    )  # fmt: skip
    _check_names(found, file=file)
    return found


def _check_names(found: Moments, *, file: str) -> None:
    for key, anchor in found.anchors.items():
        if anchor.after is not None:
            _check_known(anchor.after, found.anchors, what="after", where=f"{file} [anchor.{key}]")
    panels: dict[str, str] = {}
    for key, moment in found.moments.items():
        where = f"{file} [moment.{key}]"
        _check_known(moment.anchor, found.anchors, what="anchor", where=where)
        if moment.of is not None:
            _check_known(moment.of, found.subjects, what="of", where=where)
        elif "{of}" in found.anchors[moment.anchor].name:
            raise FactsError(
                f"found no `of`; expected one: anchor {moment.anchor} is about {{of}}; name the subject", where=where
            )
        for panel in moment.panels:
            if panels.setdefault(panel, key) != key:
                raise FactsError(
                    f"found panel {panel!r}, which moment {panels[panel]} has too; expected it once; remove one",
                    where=where,
                )
        if moment.needs is not None:
            _check_known(moment.needs, found.moments, what="needs", where=where)


def _check_known(name: str, known: Mapping[str, object], *, what: str, where: str) -> None:
    if name not in known:
        raise FactsError(
            f"found {what} {name!r}; expected one that moments.toml defines; add it there or correct the name",
            where=where,
        )

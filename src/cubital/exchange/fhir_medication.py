"""FHIR R4 (4.0.1): MedicationAdministrations to the doses and infusions that fix when blood is drawn.

`effectiveDateTime` is a dose, `effectivePeriod` the start and the end of an infusion. Of several of one drug the last
one before the draw counts. What no moment is about is kept as unread, and so is one whose time names no hour.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable, Mapping
from functools import cache

import msgspec

from cubital import facts
from cubital.errors import OrderError
from cubital.exchange.fhir_records import Concept, Reference, shape
from cubital.exchange.table import is_text, show
from cubital.model import Event

# FHIR R4, medication-admin-status: what was given, or is being given. The other states say that nothing was.
GIVEN = ("completed", "in-progress")
_INSTANT = re.compile(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}(:\d{2}(\.\d+)?)?(Z|[+-]\d{2}:\d{2})", re.ASCII)
_WORDS = re.compile(r"[^a-z0-9]+")
RESOURCE = "MedicationAdministration"


class Span(msgspec.Struct, frozen=True):
    """When something began and ended."""

    start: str | None = None
    end: str | None = None


class Named(msgspec.Struct, frozen=True):
    """A coding with its name, which is all that is read of a drug."""

    display: str | None = None


class NamedConcept(msgspec.Struct, frozen=True):
    """The names of a drug."""

    coding: tuple[Named, ...] = ()
    text: str | None = None


class Administration(msgspec.Struct, frozen=True, rename="camel"):
    """A MedicationAdministration."""

    status: str | None = None
    subject: Reference | None = None
    medication_codeable_concept: NamedConcept | None = None
    effective_date_time: str | None = None
    effective_period: Span | None = None
    category: Concept | None = None


class Given(msgspec.Struct, frozen=True, kw_only=True):
    """One administration: the events it stands for, first the one that orders it in time, or why it stands for none."""

    events: tuple[Event, ...] = ()
    unread: str | None = None


def read_administration(resource: Mapping[str, object], *, where: str) -> tuple[Reference | None, Given]:
    """Whose it is, and what it says; raises `OrderError` for a time without its zone."""
    found = shape(resource, Administration, where=where)
    names = _names(found.medication_codeable_concept)
    said = show(names[0])[1:-1] if names else "a drug not named here"
    if found.status not in GIVEN:
        return found.subject, Given(unread=f"{RESOURCE} of {said}: its status says that it was not given")
    subjects = sorted({key for name in names for key in _subjects_in(name)})
    if len(subjects) != 1:
        why = "no moment is about it" if not subjects else f"it may be {' or '.join(subjects)}"
        return found.subject, Given(unread=f"{RESOURCE} of {said}: {why}")
    period = found.effective_period or Span()
    written = (
        ("dose", found.effective_date_time, "effectiveDateTime"),
        ("infusion-start", period.start, "effectivePeriod.start"),
        ("infusion-end", period.end, "effectivePeriod.end"),
    )
    events = [
        Event(what=what, of=subjects[0], at=at)
        for what, text, field in written
        if text is not None and (at := instant_of(text, where=f"{where} {field}")) is not None
    ]
    if not events:
        return found.subject, Given(unread=f"{RESOURCE} of {said}: it says no time of day")
    return found.subject, Given(events=tuple(events))


def last_events(
    given: Iterable[Given], now: datetime.datetime | None
) -> tuple[tuple[Event, ...], tuple[str, ...]]:
    """The events of the last administration of each drug, by the time it began, and what was not used.

    Where it is known for which instant the plan is made, an infusion that began later is only used where there is none
    before, and a dose that was given later is not used.
    """
    chosen: dict[tuple[str, str | None], tuple[tuple[bool, datetime.datetime], Given]] = {}
    unread: list[str] = []
    for one in given:
        if one.unread is not None:
            unread.append(one.unread)
            continue
        first = one.events[0]
        if first.what == "dose" and now is not None and first.at > now:
            unread.append(f"{RESOURCE} of {first.of}: it was given after the time of the draw")
            continue
        drug = ("dose" if first.what == "dose" else "infusion", first.of)
        rank = (now is None or first.at <= now, first.at)
        held = chosen.get(drug)
        if held is None or rank > held[0]:
            chosen[drug] = (rank, one)
        if held is not None:
            unread.append(f"{RESOURCE} of {first.of}: one of several, and only the last before the draw counts")
    return tuple(event for _, one in chosen.values() for event in one.events), tuple(dict.fromkeys(unread))


def _names(concept: NamedConcept | None) -> list[str]:
    if concept is None:
        return []
    found = [concept.text, *(coding.display for coding in concept.coding)]
    return [name for name in found if name and is_text(name)]


def _subjects_in(name: str) -> list[str]:
    """The subjects whose name stands in this one as whole words, so that "Vancomycin 1 g" is vancomycin.

    A name within a longer one that stands there too is not meant: low-molecular-weight heparin is not heparin.
    """
    words = f" {_folded(name)} "
    found = [(key, f" {folded} ") for key, folded in _folded_names() if f" {folded} " in words]
    return [key for key, folded in found if not any(folded in other and folded != other for _, other in found)]


@cache
def _folded_names() -> tuple[tuple[str, str], ...]:
    return tuple(
        (key, folded)
        for key, subject in facts.subjects().items()
        for name in (key, subject.name, *subject.also)
        if (folded := _folded(name))
    )


def _folded(text: str) -> str:
    return _WORDS.sub(" ", text.casefold()).strip()


def instant_of(text: str, *, where: str) -> datetime.datetime | None:
    """The instant of a FHIR dateTime; None where it names no time of day."""
    if _INSTANT.fullmatch(text):
        try:
            return datetime.datetime.fromisoformat(text).astimezone(datetime.UTC)
        except (ValueError, OverflowError):
            pass
    elif "T" not in text:
        return None
    raise OrderError(
        f"found {text[:40]!r}; expected an instant with its offset from UTC; write it as 2026-11-25T07:40:00+01:00",
        where=where,
    )

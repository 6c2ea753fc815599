"""The specimens that a use case works on, out of the record or out of a file, with what their state does not say."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

from cubital.errors import RecordError
from cubital.facts.keeping import IndexKey
from cubital.handling.addon import Held
from cubital.handling.stability import Life, life_of
from cubital.model.specimen import Specimen

if TYPE_CHECKING:
    from cubital.app.record import SpecimenRecord


class Known(NamedTuple):
    """One specimen; `indices` is what was measured of it beside what its state says.

    `poured_at` is when an aliquot was taken off its tube, where its state does not say when its cells came off, or that
    it stood on a gel until then.
    """

    specimen: Specimen
    poured_at: datetime | None = None
    indices: Mapping[IndexKey, Decimal] = {}

    @property
    def life(self) -> Life:
        """Where it has been."""
        return life_of(self.specimen, poured_at=self.poured_at)

    @property
    def held(self) -> Held:
        """The same for adding a test or for a redraw."""
        return Held(specimen=self.specimen, life=self.life, indices={**self.specimen.indices, **self.indices})


def known_of(record: SpecimenRecord, specimens: Iterable[Specimen]) -> tuple[Known, ...]:
    """These specimens of the record; an aliquot that was spun by itself, or came off a gel, with when it was poured."""
    return tuple(
        Known(one, record.history(one.id)[0].content.at if _asks_when_poured(one) else None) for one in specimens
    )


def _asks_when_poured(specimen: Specimen) -> bool:
    is_spun = specimen.parent is not None and bool(specimen.spins)
    return is_spun and (specimen.gel or specimen.separated_at is None)


def find(id: str, known: Sequence[Known]) -> Known:
    """The specimen of this name; raises `RecordError` where there is none."""
    for one in known:
        if one.specimen.id == id:
            return one
    raise RecordError(
        f"found no specimen {id[:60]!r}; expected one that is recorded; check its label", where="specimen"
    )


def of_patient(patient: str, known: Sequence[Known]) -> tuple[Known, ...]:
    """The specimens of one patient, the oldest first; raises `RecordError` where there is none."""
    found = sorted(
        (one for one in known if one.specimen.patient == patient),
        key=lambda one: (one.specimen.collected_at, one.specimen.id),
    )
    if not found:
        raise RecordError("found no specimen of this patient; expected one at least", where="patient")
    return tuple(found)


def instant_text(moment: datetime | None) -> str | None:
    """An instant as the documents write it: UTC to the second.

    >>> instant_text(datetime(2026, 3, 2, 7, 0, tzinfo=UTC))
    '2026-03-02T07:00:00Z'
    """
    return None if moment is None else f"{moment.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"


class Shelf:
    """The specimens of the record, or those of a file where there is none."""

    def __init__(self, known: Sequence[Known] = (), *, record: SpecimenRecord | None = None) -> None:
        self._known = tuple(known)
        self.record = record

    def waiting(self) -> tuple[Known, ...]:
        """Every specimen with a test that nothing has settled."""
        if self.record is not None:
            return known_of(self.record, self.record.open_specimens())
        return tuple(one for one in self._known if one.specimen.waiting)

    def find(self, id: str) -> Known:
        """The specimen of this name; raises `RecordError` where there is none."""
        if self.record is None:
            return find(id, self._known)
        specimen = self.record.specimen(id)
        return find(id, () if specimen is None else known_of(self.record, (specimen,)))

    def of_patient(self, patient: str) -> tuple[Known, ...]:
        """The specimens of one patient; raises `RecordError` where there is none."""
        if self.record is None:
            return of_patient(patient, self._known)
        return of_patient(patient, known_of(self.record, self.record.specimens_of(patient)))

"""What of a specimen is lost at an instant, and what can still be saved and how."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Literal

import msgspec

from cubital.handling.clock import Clock
from cubital.handling.clock_steps import supposed
from cubital.handling.stability import Kept, Life, is_spun_for, life_of, moved, seconds_between
from cubital.model.specimen import Specimen, StorageKey
from cubital.model.test import Test

WayKey = Literal["test", "separate", "pour", "cold", "freeze"]
_A_LITTLE_S = 301
_PLACES: tuple[StorageKey, ...] = ("ambient", "cold", "frozen")


class Rescue(msgspec.Struct, frozen=True, kw_only=True):
    """One test that is not lost: by when it must be measured as it is, and the move that gives it longest.

    `way` test is no move. `until` None is no end that any source gives. `is_known` is false where no source
    says anything of it as it is.
    """

    test: str
    due_at: datetime | None
    way: WayKey
    until: datetime | None
    is_known: bool = True


class Prospect(msgspec.Struct, frozen=True, kw_only=True):
    """The tests of a specimen that are lost at an instant, and those that are not."""

    lost: tuple[str, ...]
    saved: tuple[Rescue, ...]


def prospect(specimen: Specimen, clock: Clock, now: datetime, *, poured_at: datetime | None = None) -> Prospect:
    """What is lost of this specimen at this instant and what can still be saved, test by test."""
    life = life_of(specimen, poured_at=poured_at)
    age_s = max(0, seconds_between(specimen.collected_at, now))
    lost, saved = [], []
    for test in clock.known_tests(specimen):
        where = supposed(test, specimen, life)
        kept = clock.kept(test, specimen, *where)
        if kept.standing(age_s) == "past":
            lost.append(test.key)
        else:
            saved.append(_rescue(test, specimen, clock, where[0], kept, age_s))
    return Prospect(lost=tuple(lost), saved=tuple(saved))


class Keeping(msgspec.Struct, frozen=True, kw_only=True):
    """How long one test would keep in one storage from now on; `until` None where `text` says why not or not known.

    From `certain_until` on, where that is sooner, no source says how its times add.
    """

    test: str
    storage: StorageKey
    until: datetime | None
    certain_until: datetime | None
    text: str


def keeps_where(
    specimen: Specimen, clock: Clock, now: datetime, *, poured_at: datetime | None = None
) -> tuple[Keeping, ...]:
    """How long each test would keep in the room, in the cold and frozen, were it put there now, off its cells.

    What it has been through counts. Nothing is taken for granted of temperature: where no source speaks, it is said.
    """
    life = life_of(specimen, poured_at=poured_at)
    age_s = max(0, seconds_between(specimen.collected_at, now))
    return tuple(
        _keeping(test, storage, specimen, clock, supposed(test, specimen, life), age_s)
        for test in clock.known_tests(specimen)
        for storage in _PLACES
    )


def _keeping(
    test: Test, storage: StorageKey, specimen: Specimen, clock: Clock, lives: tuple[Life, ...], age_s: int
) -> Keeping:
    is_spun = is_spun_for(test, specimen.matrix)
    there = (moved(life, storage, age_s, is_separated=is_spun) for life in lives)
    kept = clock.kept(test, specimen, *there)
    text = "" if kept.limit is None else kept.limit.text
    # A little on, so that what must not be kept so at all is seen to be.
    standing = kept.standing(age_s + _A_LITTLE_S)
    if standing == "past":
        text = f"{'too late' if kept.standing(age_s) == 'past' else 'must not be kept so'}: {text}"
    elif standing == "unknown":
        text = kept.unknown
    if standing in ("past", "unknown"):
        return Keeping(test=test.key, storage=storage, until=None, certain_until=None, text=text)

    def instant(seconds: int | None) -> datetime | None:
        return None if seconds is None else specimen.collected_at + timedelta(seconds=seconds)

    until, certain = instant(kept.ends_s), instant(kept.until_s)
    return Keeping(test=test.key, storage=storage, until=until, certain_until=certain, text=text)


def _rescue(test: Test, specimen: Specimen, clock: Clock, life: Life, kept: Kept, age_s: int) -> Rescue:
    way: WayKey = "test"
    best_s = kept.ends_s
    if kept.standing(age_s) != "unknown" and best_s is not None:
        for other, there in _moves(test, specimen, life, age_s):
            found = clock.kept(test, specimen, there)
            # A move that nobody can vouch for, or that spoils it, saves nothing.
            if found.unknown_s is None and found.ends_s is not None and found.ends_s > best_s:
                way, best_s = other, found.ends_s

    def instant(seconds: int | None) -> datetime | None:
        return None if seconds is None else specimen.collected_at + timedelta(seconds=seconds)

    return Rescue(
        test=test.key, due_at=instant(kept.ends_s), way=way, until=instant(best_s),
        is_known=kept.standing(age_s) in ("kept", "mixed"),
    )  # fmt: skip


def _moves(test: Test, specimen: Specimen, life: Life, age_s: int) -> Iterator[tuple[WayKey, Life]]:
    """Each move that can be made now: off the cells, off the gel, into the cold, into the freezer."""
    here = life.phases[-1].storage
    is_on_cells = is_spun_for(test, specimen.matrix) and life.separated_s is None
    if is_on_cells:
        yield "separate", moved(life, here, age_s, is_separated=True)
    elif here not in ("cold", "frozen"):
        yield "cold", moved(life, "cold", age_s)
    is_spun = is_spun_for(test, specimen.matrix)
    if is_spun and specimen.holds_gel and life.separated_s is not None and here != "frozen":
        yield "pour", life._replace(off_gel_s=age_s)
    if not is_on_cells and here != "frozen":
        yield "freeze", moved(life, "frozen", age_s)

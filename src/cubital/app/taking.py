"""Taking a draw at the chair, one tube at a time: what may be tapped, once, and by whom first.

Whatever was tapped is sent under a key that the page made at the tap. The same key is the same tap, so a page
that got no answer sends again and nothing is doubled.
"""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from datetime import datetime, timedelta

from msgspec.structs import replace

from cubital.app.collecting import Taken, collected_of
from cubital.app.patient_check import Said, is_same, read_identity, refuse_another_patient
from cubital.app.ports import Now
from cubital.app.printing import refuse_another_age
from cubital.app.record import SpecimenRecord
from cubital.app.taking_check import HOLDS, is_void, refuse_unchecked
from cubital.app.taking_ports import TakingBook, TakingStore
from cubital.app.taking_rules import Told, refuse_other, refuse_tap, tap_of
from cubital.app.taking_steps import prefix_of, steps_of
from cubital.app.unsettled import refuse_unsettled
from cubital.errors import CubitalError, KeyReused, TakingError, WrongPatient
from cubital.model import Order, Plan
from cubital.model.identity import Collection
from cubital.model.record import Step
from cubital.model.taking import CLOSING, Taking, Tap

# No letter or figure that is taken for another: no 0 O, 1 I L, U V.
LETTERS = "23456789ABCDEFGHJKMNPQRSTWXYZ"
CODE_LETTERS = 6
LONGEST = timedelta(hours=72)
"""A draw that is still open after so long is closed, and whose it is forgotten; a house rule without a source."""


class Takings:
    """The draws in hand of one site; `now` must give aware UTC."""

    def __init__(self, store: TakingStore, *, record: SpecimenRecord, now: Now) -> None:
        self._store, self._record, self._now = store, record, now

    def close(self) -> None:
        """Give back the database."""
        self._store.close()

    def begin(
        self, order: Order, plan: Plan, *, by: str, site_version: int | None = None, key: str | None = None
    ) -> Taking:  # fmt: skip
        """A new draw in hand of this plan, made on this version of the site, under a code of its own.

        The same `key` is the same draw, however often it is asked for. Raises `KeyReused` where the key stands for
        another order or was used by somebody else, and `UnsettledWords` where the plan leaves out words of its order.
        """
        refuse_unsettled(plan.unsettled)
        if not plan.tubes:
            raise TakingError("found no tube in the plan; expected one at least; plan a draw", where="draw")
        code = "".join(secrets.choice(LETTERS) for _ in range(CODE_LETTERS))
        taking = Taking(
            code=code, made_at=self._now(), made_by=by, order=order, plan=plan, site_version=site_version
        )  # fmt: skip
        with self._store.writing() as book:
            found = None if key is None else book.begun(key)
            if found is None:
                book.keep_taking(taking, key)
                return taking
        if found.made_by != by or replace(found.order, on=None) != replace(order, on=None):
            raise KeyReused("found the key of another draw; expected a key for each; plan it again", where="draw")
        return found

    def now(self) -> datetime:
        """The moment by the clock that counts."""
        return self._now()

    def waiting(self) -> tuple[tuple[Taking, tuple[Tap, ...]], ...]:
        """Every draw that is not closed, with its taps; those older than `LONGEST` are closed first.

        One whose filled tubes cannot be written to the record now stays open, with whose it is.
        """
        now = self._now()
        with self._store.reading() as book:
            old = [taking.code for taking in book.open_takings() if taking.made_at < now - LONGEST]
        unmended = [code for code in old if not self._is_mended(code)]
        with self._store.writing() as book:
            book.close_older(now - LONGEST, now, but=unmended)
        with self._store.reading() as book:
            return tuple((taking, book.taps(taking.code)) for taking in book.open_takings())

    def look(self, code: str) -> tuple[Taking, tuple[Tap, ...]]:
        """The draw of this code with its taps; raises `TakingError` where there is none."""
        with self._store.reading() as book:
            return _need(book, code), book.taps(code)

    def tap(self, told: Told) -> Tap:
        """Take this tap in, once; a filled tube is written to the record of specimens.

        Raises `WrongPatient` where identifiers or a label do not agree, `TubeTaken` where another browser
        settled the tube first, `KeyReused` where the key stands for another tap, `TakingError` for
        anything else that cannot be; then nothing was changed.
        """
        if told.kind in CLOSING:
            self._mend(told.code)
        refused: CubitalError | None = None
        with self._store.writing() as book:
            taking = _need(book, told.code)
            tap = book.tap(told.key)
            if tap is not None:
                refuse_other(told, tap)
            else:
                tap = tap_of(told, taking, self._now())
                checks = _checks(book, told.by, told.station, tap.at)
                refuse_tap(told, taking, book.taps(taking.code), at=tap.at, elsewhere=checks)
                if told.said is not None:
                    try:
                        self._identify(book, taking, told.said)
                    except CubitalError as error:
                        # Kept, for it voids the check before it: another patient may be at the chair.
                        refused, tap = error, replace(tap, kind="mismatched")
                book.add_tap(tap)
                if tap.kind in CLOSING:
                    book.close(taking.code, tap.at)
        if refused is not None:
            raise refused
        if tap.kind == "filled":
            self._collect(taking, tap)
        return tap

    def knows(self, key: str) -> bool:
        """Whether a tap came under this key before."""
        with self._store.reading() as book:
            return book.tap(key) is not None

    def refuse_unchecked(self, code: str, draw: int, *, by: str, station: str) -> None:
        """Raise `TakingError` unless this person has lately checked two identifiers for this draw at this device."""
        now = self._now()
        with self._store.reading() as book:
            taking, taps, checks = _need(book, code), book.taps(code), _checks(book, by, station, now)
        refuse_unchecked(taking, taps, draw, by=by, station=station, at=now, elsewhere=checks)

    def standing_checks(self, code: str) -> tuple[Tap, ...]:
        """The checks of two identifiers for this draw that still hold and that no later one voided."""
        now = self._now()
        with self._store.reading() as book:
            own = [tap for tap in book.taps(code) if tap.kind == "identified" and now - tap.at <= HOLDS]
            return tuple(tap for tap in own if not is_void(tap, _checks(book, tap.by, tap.station, now), now))

    def note_prints(self, code: str, numbers: Sequence[int], *, by: str, station: str) -> None:
        """Write down that the labels of these tubes were printed."""
        now = self._now()
        with self._store.writing() as book:
            count = len(book.taps(code))
            for place, number in enumerate(numbers):
                book.add_tap(
                    Tap(key=f"{code}/printed/{count + place}", taking=code, kind="printed", step=number, at=now,
                        device_at=now, received_at=now, by=by, station=station)
                )  # fmt: skip

    def _identify(self, book: TakingBook, taking: Taking, said: Said) -> None:
        identity = read_identity(said)
        refuse_another_patient(said, identity)
        if taking.identity is not None and not is_same(taking.identity, identity):
            raise WrongPatient(
                "found another request than the one that this draw was begun with; expected the same; do not draw: "
                "take the request of this draw, or plan the draw of the other",
                where=f"draw {taking.code}",
            )
        day = taking.order.on or self._now().date()
        refuse_another_age(taking.order, Collection(identity=identity), day)
        book.keep_identity(taking.code, identity)

    def _mend(self, code: str) -> None:
        """Write to the record what was tapped and could not be written then."""
        taking, taps = self.look(code)
        for tap in taps:
            if tap.kind == "filled":
                self._collect(taking, tap)

    def _is_mended(self, code: str) -> bool:
        try:
            self._mend(code)
        except CubitalError:
            return False
        return True

    def _collect(self, taking: Taking, tap: Tap) -> None:
        step = steps_of(taking)[tap.step - 1]
        if step.specimen is None or self._record.find(f"{step.specimen}/collected") is not None:
            return
        if taking.identity is None:
            raise TakingError("found no request; expected the two identifiers to be checked first", where=step.specimen)
        taken = Taken(
            prefix=prefix_of(taking, step.tube), patient=taking.identity.number, by=tap.by, station=tap.station
        )
        self._record.append(Step(event=collected_of(step.tube, taking.order, taken, tap.at), expected=0))


def _checks(book: TakingBook, by: str, station: str, at: datetime) -> tuple[Tap, ...]:
    return book.checks(by=by, station=station, since=at - HOLDS, until=at)


def _need(book: TakingBook, code: str) -> Taking:
    found = book.taking(code) if code.isascii() else None
    if found is None:
        raise TakingError("found no such draw; expected one that was begun; plan it again", where="draw")
    return found

"""Taking a draw at the chair, one tube at a time: what may be tapped, once, and by whom first.

Whatever was tapped is sent under a key that the page made at the tap. The same key is the same tap, so a page
that got no answer sends again and nothing is doubled.
"""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import NamedTuple

import msgspec
from msgspec.structs import replace

from cubital.app.collecting import Taken, collected_of
from cubital.app.patient_check import Said, is_same, read_identity, refuse_another_patient
from cubital.app.ports import Now
from cubital.app.printing import refuse_another_age
from cubital.app.record import SpecimenRecord
from cubital.app.taking_check import HOLDS, check_of, is_void, refuse_unchecked
from cubital.app.taking_ports import TakingBook, TakingStore
from cubital.errors import CubitalError, KeyReused, TakingError, TubeTaken, WrongPatient
from cubital.model import Order, Plan, PlannedTube
from cubital.model.identity import Collection
from cubital.model.record import Step
from cubital.model.taking import CLOSING, SETTLING, WHYS, Taking, Tap, TapKind, WhyKey

# No letter or figure that is taken for another: no 0 O, 1 I L, U V.
LETTERS = "23456789ABCDEFGHJKMNPQRSTWXYZ"
CODE_LETTERS = 6
CLOCKS_AGREE = timedelta(seconds=5)
"""Within this a tap keeps the instant of its device; beyond it takes the server's. A house rule without a source."""
SLACK = timedelta(seconds=60)
"""How much before the draw was begun, or after it was sent, a tap may seem to be; a house rule without a source."""
LONGEST = timedelta(hours=72)
"""A draw that is still open after so long is closed, and whose it is forgotten; a house rule without a source."""


class Told(msgspec.Struct, frozen=True, kw_only=True):
    """A tap as the page sends it: `device_at` when it was tapped and `device_now` when it was sent, by its clock."""

    key: str
    code: str
    kind: TapKind
    step: int
    device_at: datetime
    device_now: datetime
    by: str
    station: str
    why: str = ""
    scanned: str = ""
    said: Said | None = None


class TubeStep(NamedTuple):
    """One tube of a draw in hand: its place among all, and the name of its specimen; None for a discard."""

    number: int
    tube: PlannedTube
    specimen: str | None


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
        another order or was used by somebody else.
        """
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
                _refuse_other(told, tap)
            else:
                tap = self._new_tap(told, taking)
                checks = _checks(book, told.by, told.station, tap.at)
                _refuse(told, taking, book.taps(taking.code), at=tap.at, elsewhere=checks)
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

    def _new_tap(self, told: Told, taking: Taking) -> Tap:
        if told.kind == "printed":
            raise TakingError("found a print; expected a tap; ask for the label", where="tap")
        if told.said is not None and told.kind != "identified":
            raise TakingError("found identifiers with another tap; expected them with the check alone", where="tap")
        now = self._now()
        why: WhyKey | None = None
        if told.kind in ("not-drawn", "set-aside"):
            why = next((one for one in WHYS if one == told.why), None)
            if why is None:
                raise TakingError(f"found no reason; expected one of {', '.join(WHYS)}; choose one", where="why")
        return Tap(
            key=told.key, taking=taking.code, kind=told.kind, step=told.step, at=instant_of(told, taking, now),
            device_at=told.device_at, received_at=now, by=told.by, station=told.station, why=why,
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
            prefix=_prefix(taking, step.tube), patient=taking.identity.number, by=tap.by, station=tap.station
        )
        self._record.append(Step(event=collected_of(step.tube, taking.order, taken, tap.at), expected=0))


def steps_of(taking: Taking) -> tuple[TubeStep, ...]:
    """Every tube of the draw in order, discards and culture bottles too; a discard has no specimen."""
    return tuple(
        TubeStep(
            number=number, tube=tube,
            specimen=None if tube.purpose == "discard" else f"{_prefix(taking, tube)}-{tube.position}",
        )
        for number, tube in enumerate(taking.plan.tubes, start=1)
    )  # fmt: skip


def settled(taps: Sequence[Tap], number: int) -> Tap | None:
    """The tap that settled this tube: filled, or not drawn; None while it is to come."""
    return next((tap for tap in taps if tap.kind in SETTLING and tap.step == number), None)


def is_labelled(taps: Sequence[Tap], number: int) -> bool:
    """Whether the label on this tube was scanned and is its own."""
    return any(tap.kind == "labelled" and tap.step == number for tap in taps)


def instant_of(told: Told, taking: Taking, now: datetime) -> datetime:
    """When it was tapped: by the device's clock where that agrees with the server's, else as long ago as it says.

    Raises `TakingError` for what cannot be: sent before it was tapped, or tapped before the draw was begun.
    """
    ago = told.device_now - told.device_at
    if ago < -SLACK:
        raise TakingError("found a tap after the moment it was sent; expected it before; see this device's clock",
                          where="time")  # fmt: skip
    agrees = abs(told.device_now - now) <= CLOCKS_AGREE
    at = min(told.device_at if agrees else now - ago, now)
    if at < taking.made_at - SLACK:
        raise TakingError(
            "found a tap before the draw was begun; expected it after; see this device's clock", where="time"
        )
    return at


def least_fill_ul(tube: PlannedTube) -> int | None:
    """The least blood that is accepted in this tube, rounded up; None where none is known."""
    percent = tube.fill_min_percent
    return None if percent is None else -(-tube.draw_ul * percent // 100)


def _refuse(told: Told, taking: Taking, taps: Sequence[Tap], *, at: datetime, elsewhere: Sequence[Tap]) -> None:
    """Raise the error of a tap that cannot follow what was tapped before."""
    if taking.closed_at is not None:
        raise TakingError("found a draw that is closed; expected an open one; plan a new draw", where=taking.code)
    if told.kind == "identified":
        if told.said is None or told.step not in {
            check_of(taking.plan, draw.number) for draw in taking.plan.draws
        }:
            raise TakingError("found no identifiers for a draw of this plan; expected them", where=taking.code)
        return
    if told.kind in ("set-aside", "mismatched"):
        return
    steps = steps_of(taking)
    if told.kind == "finished":
        if left := [s.number for s in steps if not _is_done(s, taps)]:
            raise TakingError(f"found {len(left)} tubes to come or without their label; expected none", where="draw")
        return
    if not 1 <= told.step <= len(steps):
        raise TakingError(f"found tube {told.step}; expected 1 to {len(steps)}", where="tube")
    step = steps[told.step - 1]
    refuse_unchecked(taking, taps, step.tube.draw, by=told.by, station=told.station, at=at, elsewhere=elsewhere)
    if told.kind == "labelled":
        _refuse_label(told, step, taps)
    else:
        _refuse_settling(told, step, steps, taps)


def _refuse_settling(told: Told, step: TubeStep, steps: Sequence[TubeStep], taps: Sequence[Tap]) -> None:
    first = settled(taps, step.number)
    if first is not None:
        raise TubeTaken(
            f"{first.by} at {first.station} was first: {'filled' if first.kind == 'filled' else 'not drawn'} at "
            f"{first.at:%Y-%m-%d %H:%M:%S} UTC; nothing of this was recorded; do not label this tube",
            where=f"tube {step.number}", by=first.by, station=first.station, at=first.at,
        )  # fmt: skip
    if any(s.tube.draw == step.tube.draw and s.number < step.number and settled(taps, s.number) is None for s in steps):
        raise TakingError("found a tube before it that is not settled; expected them in order", where="tube")


def _refuse_label(told: Told, step: TubeStep, taps: Sequence[Tap]) -> None:
    found = settled(taps, step.number)
    if step.specimen is None or found is None or found.kind != "filled":
        raise TakingError("found a label on no filled tube; expected the tube to be filled first", where="label")
    if told.scanned.strip().upper() != step.specimen:
        raise WrongPatient(
            "found the label of another tube or patient; expected this tube's own; take it off and print the right one",
            where=f"tube {step.number}",
        )


def _is_done(step: TubeStep, taps: Sequence[Tap]) -> bool:
    found = settled(taps, step.number)
    if found is None:
        return False
    return found.kind == "not-drawn" or step.specimen is None or is_labelled(taps, step.number)


def _checks(book: TakingBook, by: str, station: str, at: datetime) -> tuple[Tap, ...]:
    return book.checks(by=by, station=station, since=at - HOLDS, until=at)


def _refuse_other(told: Told, tap: Tap) -> None:
    if (told.kind, tap.kind) == ("identified", "mismatched"):
        raise WrongPatient(
            "found identifiers that were refused before; expected those of the request; do not draw: check again",
            where="two identifiers",
        )
    if (told.code, told.kind, told.step, told.by, told.station, told.device_at) != (
        tap.taking, tap.kind, tap.step, tap.by, tap.station, tap.device_at,
    ):  # fmt: skip
        raise KeyReused("found the key of another tap; expected a key for each", where="tap")


def _need(book: TakingBook, code: str) -> Taking:
    found = book.taking(code) if code.isascii() else None
    if found is None:
        raise TakingError("found no such draw; expected one that was begun; plan it again", where="draw")
    return found


def _prefix(taking: Taking, tube: PlannedTube) -> str:
    return taking.code if len(taking.plan.draws) == 1 else f"{taking.code}-{tube.draw}"

"""What was asked for."""

from __future__ import annotations

from datetime import date, datetime

import msgspec

from cubital.model.patient import Patient
from cubital.model.vocabulary import AccessKey, ObjectiveKey, PriorityKey, TroubleKey


class Unsettled(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """A word of an order that does not say which test is meant, and what is wrong with it.

    `where` is its place in the order and `said` the whole message. `near` are the keys of names near an unknown one,
    `choices` the keys that an ambiguous one stands for; `looks` the tube kinds whose stopper looks as the word says.
    """

    word: str
    where: str
    trouble: TroubleKey
    said: str
    near: tuple[str, ...] = ()
    choices: tuple[str, ...] = ()
    looks: tuple[str, ...] = ()


class Ask(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """One line of an order: a test, panel or code as it was written, and how urgent it is.

    `at_min` places it in a timed series, minutes after the first draw; None is the first draw. `place` is its number in
    the order as it was written, from 0, where others were set apart; None is where it stands. `unsettled` says what the
    reader of the order found wrong with it, where looking it up would not tell: such an ask is never planned.
    """

    test: str
    priority: PriorityKey = "routine"
    at_min: int | None = None
    system: str | None = None
    place: int | None = None
    unsettled: Unsettled | None = None


class Line(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """What a catheter draw must know: the dead space, and whether the lumen carried anticoagulant.

    `suspected_infection` is true when the line itself is being cultured.
    """

    dead_space_ul: int | None = None
    carried_anticoagulant: bool | None = None
    suspected_infection: bool = False


class Event(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """Something that fixes the moment of a draw, and when it was or will be.

    `what` is a key of the anchors in `data/moments.toml` (`dose`, `next-dose`, `infusion-end`, `drink`, ...); `of`
    names the drug or drink it is about, None where the order has only one. `at` is an instant with its zone.
    """

    what: str
    at: datetime
    of: str | None = None


class Order(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """One request for blood tests on one patient.

    `objective` None leaves it to the site; `on` is the day of the draw, needed only when the
    stock has expiry dates; `unread` lists outside content that was kept but not understood.
    `now` is the instant the plan is made for, None where it is not known; `events` are the doses, drinks and the like
    that fix when blood is drawn. `keep` names tests that are left out last, whatever their rank; `place` is the place
    of collection, a key of the site's travel times.
    """

    asks: tuple[Ask, ...]
    patient: Patient = Patient()
    access: AccessKey = "straight-needle"
    objective: ObjectiveKey | None = None
    line: Line = Line()
    on: date | None = None
    id: str | None = None
    unread: tuple[str, ...] = ()
    now: datetime | None = None
    events: tuple[Event, ...] = ()
    keep: tuple[str, ...] = ()
    place: str | None = None

"""Specimens and draws out of files: what waits, what is known, what was drawn, whose draw is printed."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import TYPE_CHECKING

from cubital.app.clock import today as read_today
from cubital.model import Patient, Site

if TYPE_CHECKING:
    from cubital.app.blood_loss import DrawnBlood
    from cubital.app.known import Known
    from cubital.exchange.waiting_file import Waiting
    from cubital.model.centrifuge import RecordedTube
    from cubital.model.identity import Collection


def read_waiting(
    data: bytes, site: Site, *, now: datetime.datetime, at: str | None, where: str, recorded: Mapping[str, RecordedTube]
) -> Waiting:
    """The tubes that wait for their spin, in these bytes of JSON and in the record, and how the centrifuges stand."""
    from cubital.exchange.waiting_file import read_waiting

    return read_waiting(data, site, now=now, at=at, where=where, recorded=recorded)


def read_specimens(data: bytes, site: Site, *, where: str) -> tuple[tuple[Known, ...], tuple[str, ...]]:
    """The specimens in a file of another system, and the paths of fields that nothing reads."""
    from cubital.app.known import Known
    from cubital.exchange.specimens_file import read_specimens

    found = read_specimens(data, site, where=where)
    return tuple(Known(*one) for one in found.specimens), found.unread


def read_drawn(
    data: bytes, *, where: str, today: datetime.date | None = None
) -> tuple[Patient, tuple[DrawnBlood, ...], tuple[str, ...]]:
    """The patient and the draws in a file of draws, and the paths of fields that nothing reads."""
    from cubital.app.blood_loss import DrawnBlood, DrawnTube
    from cubital.exchange.draws_file import read_draws

    found = read_draws(data, where=where, today=today or read_today())
    draws = tuple(
        DrawnBlood(
            at=draw.at,
            volume_ul=draw.volume_ul,
            tubes=tuple(DrawnTube(kind=kind, volume_ul=volume_ul) for kind, volume_ul in draw.tubes),
            tests=draw.tests,
        )
        for draw in found.draws
    )
    return found.patient, draws, found.unread


def read_collection(data: bytes, *, where: str) -> Collection:
    """Whose draw is printed: the patient's identifiers, the specimens' numbers, when and by whom taken."""
    from cubital.exchange.collection_file import read_collection

    return read_collection(data, where=where)

"""The board as a use case: what is due at the bench now, and what of each late specimen can still be saved."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

import msgspec

from cubital.app.known import Known, instant_text
from cubital.handling.board import Board, Line, Page
from cubital.handling.clock import Clock, Window
from cubital.handling.keeping import PolicyKey
from cubital.handling.rescue import Keeping, Prospect, Rescue, keeps_where, prospect
from cubital.model import Reason, Site
from cubital.model.specimen import Specimen

FORMAT = "cubital.board/1"
CLOCK_FORMAT = "cubital.clock/1"


class BoardView(msgspec.Struct, frozen=True, kw_only=True):
    """One look at the board: the page, and for what is late or lost how each test stands and can be saved."""

    page: Page
    policy: PolicyKey
    prospects: dict[str, Prospect]


def look_at_board(
    known: Iterable[Known], site: Site, *, now: datetime, policy: PolicyKey = "strict", most: int | None = None
) -> BoardView:
    """What is due of these specimens now, at most `most` lines, and what of the late ones can be saved."""
    board = Board(site, policy=policy)
    by_id = {one.specimen.id: one for one in known}
    board.put_all(one.specimen for one in by_id.values() if one.poured_at is None)
    for one in by_id.values():
        if one.poured_at is not None:
            board.put(one.specimen, poured_at=one.poured_at)
    page = board.at(now, most=most)
    looked = [line.specimen for line in page.lines if line.urgency == "late"]
    prospects = {
        id: prospect(by_id[id].specimen, board.clock, now, poured_at=by_id[id].poured_at)
        for id in dict.fromkeys(looked)
    }
    return BoardView(page=page, policy=policy, prospects=prospects)


def board_document(view: BoardView) -> dict[str, Any]:
    """The board as one JSON object; instants in UTC."""
    page = view.page
    return {
        "format": FORMAT,
        "at": instant_text(page.at),
        "policy": view.policy,
        "late": page.late,
        "due": page.due,
        "waiting": page.waiting,
        "unknown": page.unknown,
        "lines": [_line(line, view.prospects.get(line.specimen)) for line in page.lines],
        "lost": [{"specimen": specimen, "tests": list(tests)} for specimen, tests in page.lost],
    }


class ClockView(msgspec.Struct, frozen=True, kw_only=True):
    """Everything that is to be done with one specimen, how it stands now, and how long it would keep where."""

    specimen: Specimen
    at: datetime
    policy: PolicyKey
    windows: tuple[Window, ...]
    keeps: tuple[Keeping, ...]


def look_at_clock(known: Known, site: Site, *, now: datetime, policy: PolicyKey = "strict") -> ClockView:
    """Every window of one specimen, and how long each of its tests would keep in the room, cold and frozen."""
    clock = Clock(site, policy=policy)
    return ClockView(
        specimen=known.specimen, at=now, policy=policy,
        windows=clock.windows(known.specimen, poured_at=known.poured_at),
        keeps=keeps_where(known.specimen, clock, now, poured_at=known.poured_at),
    )  # fmt: skip


def clock_document(view: ClockView) -> dict[str, Any]:
    """The clock of one specimen as one JSON object; instants in UTC."""
    return {
        "format": CLOCK_FORMAT,
        "specimen": view.specimen.id,
        "at": instant_text(view.at),
        "policy": view.policy,
        "windows": [
            {
                "step": window.step, "status": window.status(view.at), "text": window.text, "tests": list(window.tests),
                "not_before": instant_text(window.opens_at), "begin_by": instant_text(window.start_by),
                "due": instant_text(window.due_at), "done": instant_text(window.done_at),
                "recorded": window.is_recorded, "unknown": list(window.unknown),
                "reasons": reasons_document(window.reasons),
            }
            for window in view.windows
        ],
        "keeps": [
            {
                "test": one.test, "storage": one.storage, "until": instant_text(one.until),
                "certain_until": instant_text(one.certain_until), "text": one.text,
            }
            for one in view.keeps
        ],
    }  # fmt: skip


def _line(line: Line, found: Prospect | None) -> dict[str, Any]:
    return {
        "specimen": line.specimen,
        "urgency": line.urgency,
        "step": line.step,
        "text": line.text,
        "tests": list(line.tests),
        "storage": line.storage,
        "not_before": instant_text(line.opens_at),
        "begin_by": instant_text(line.begin_by),
        "due": instant_text(line.due_at),
        "lost": list(line.lost),
        "unknown": list(line.unknown),
        "reasons": reasons_document(line.reasons),
        "save": [] if found is None else [_rescue(rescue) for rescue in found.saved],
    }


def _rescue(rescue: Rescue) -> dict[str, Any]:
    return {
        "test": rescue.test,
        "due": instant_text(rescue.due_at),
        "by": rescue.way,
        "until": instant_text(rescue.until),
        "known": rescue.is_known,
    }


def reasons_document(reasons: tuple[Reason, ...]) -> list[dict[str, Any]]:
    """Reasons as the documents write them."""
    return [{"about": r.about, "text": r.text, "basis": r.basis, "sources": list(r.sources)} for r in reasons]

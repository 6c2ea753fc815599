"""A board that is kept between looks: of thousands of specimens only those that changed are worked out again."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from datetime import datetime

import msgspec

from cubital.app.bench_board import BoardView
from cubital.app.known import Known, known_of
from cubital.app.record import SpecimenRecord
from cubital.handling.board import Board
from cubital.handling.keeping import PolicyKey
from cubital.handling.rescue import prospect
from cubital.model import Site
from cubital.model.specimen import Specimen

_AT_ONCE = 1000


class Look(msgspec.Struct, frozen=True, kw_only=True):
    """One look at the board, with the state of each specimen that it shows."""

    view: BoardView
    specimens: Mapping[str, Specimen]


class LiveBoard:
    """The board of one record, for every station that looks; it reads what was recorded since the last look."""

    def __init__(self, record: SpecimenRecord, site: Site, *, policy: PolicyKey = "strict") -> None:
        self._record, self._site, self._policy = record, site, policy
        self._lock = threading.Lock()
        self._known: dict[str, Known] = {}
        self._board: Board | None = None
        self._sequence = 0

    def look(self, now: datetime, *, most: int) -> Look:
        """What is due now, at most `most` lines, and what of the late ones among them can be saved."""
        with self._lock:
            board = self._caught_up()
            page = board.at(now, most=most)
            shown = [line.specimen for line in page.lines]
            late = dict.fromkeys(line.specimen for line in page.lines if line.urgency == "late")
            prospects = {
                id: prospect(self._known[id].specimen, board.clock, now, poured_at=self._known[id].poured_at)
                for id in late
            }
            specimens = {id: self._known[id].specimen for id in (*shown, *(id for id, _ in page.lost))}
        view = BoardView(page=page, policy=self._policy, prospects=prospects)
        return Look(view=view, specimens=specimens)

    def known(self) -> tuple[Known, ...]:
        """Every specimen on the board as it is now."""
        with self._lock:
            self._caught_up()
            return tuple(self._known.values())

    def _caught_up(self) -> Board:
        head = self._record.head()
        if self._board is None or head.sequence < self._sequence:
            # Never read before, or another record was put in its place.
            return self._read_all(head.sequence)
        while entries := self._record.since(self._sequence, limit=_AT_ONCE):
            ids = dict.fromkeys(entry.content.specimen for entry in entries if hasattr(entry.content, "specimen"))
            for id in ids:
                self._put(self._board, id)
            self._sequence = entries[-1].sequence
        return self._board

    def _read_all(self, sequence: int) -> Board:
        # The head was read first: what is recorded meanwhile is read once more, which changes nothing.
        board = Board(self._site, policy=self._policy)
        self._known = {one.specimen.id: one for one in known_of(self._record, self._record.open_specimens())}
        board.put_all(one.specimen for one in self._known.values() if one.poured_at is None)
        for one in self._known.values():
            if one.poured_at is not None:
                board.put(one.specimen, poured_at=one.poured_at)
        self._board, self._sequence = board, sequence
        return board

    def _put(self, board: Board, id: str) -> None:
        specimen = self._record.specimen(id)
        if specimen is None or not specimen.waiting:
            board.drop(id)
            self._known.pop(id, None)
            return
        (known,) = known_of(self._record, (specimen,))
        self._known[id] = known
        board.put(specimen, poured_at=known.poured_at)

"""Which draws a plan has: one a minute, and one more for each further site of a culture."""

from __future__ import annotations

import msgspec

from cubital.model import Draw, PlannedTube, Site
from cubital.planning.asks import Asked
from cubital.planning.collections import CulturePlan
from cubital.planning.rows import bottle_row
from cubital.planning.sequence import Sequence


class Layout:
    """The draws of a plan: one a minute, and one more for each further site of a culture set."""

    def __init__(self, minutes: list[int], cultures: dict[int, CulturePlan], bottled: list[Asked]) -> None:
        self.draws: tuple[Draw, ...] = ()
        self._main: list[int] = []
        self._bottles: list[tuple[int, CulturePlan, int, tuple[str, ...]]] = []
        draws: list[Draw] = []
        for at_min in minutes:
            number = len(draws) + 1
            self._main.append(number)
            label = "the draw" if len(minutes) == 1 else f"draw at {at_min} min"
            draws.append(Draw(number=number, at_min=at_min, label=label))
            plan = cultures.get(at_min)
            if plan is None:
                continue
            tests = tuple(a.test for a in bottled if a.at_min == at_min)
            for set_number in sorted({bottle.set_number for bottle in plan.bottles}):
                if set_number > 1:
                    draws.append(
                        Draw(
                            number=len(draws) + 1,
                            at_min=at_min,
                            label=f"another site: culture set {set_number}",
                        )
                    )
                self._bottles.append((len(draws) if set_number > 1 else number, plan, set_number, tests))
        self.draws = tuple(draws)

    def number_of(self, minute_index: int) -> int:
        """The number of the main draw at this minute."""
        return self._main[minute_index]

    def bottle_rows(self, site: Site, sequence: Sequence) -> list[PlannedTube]:
        """Every culture bottle as a row."""
        rows = []
        for draw, plan, set_number, tests in self._bottles:
            for bottle in plan.bottles:
                if bottle.set_number == set_number:
                    row = bottle_row(bottle, draw, tests[0], site, sequence)
                    rows.append(msgspec.structs.replace(row, tests=tests) if len(tests) > 1 else row)
        return rows

    def keep_bottle_order(self, rows: list[PlannedTube]) -> list[PlannedTube]:
        """The rows with their bottles as the culture rule orders them, anaerobic first by syringe."""
        bottles = [row for row in rows if row.purpose == "culture"]
        return [*reversed(bottles), *(row for row in rows if row.purpose != "culture")]

"""Which draws a plan has: one for each moment, and one more for each further set of a culture."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import msgspec

from cubital import facts
from cubital.model import Draw, PlannedTube, Site
from cubital.planning.cultures import CulturePlan
from cubital.planning.moments import Slot
from cubital.planning.rows import bottle_row
from cubital.planning.sequence import Sequence as DrawOrder
from cubital.planning.wanted import Due


class Layout:
    """The draws of a plan, in the order they are made. Moments are counted from 0, draws from 1."""

    def __init__(
        self, slots: Sequence[Slot], cultures: Mapping[int, CulturePlan], bottled: Sequence[Due], access: str
    ) -> None:
        self._main: list[int] = []
        self._bottles: list[tuple[int, CulturePlan, int, tuple[str, ...]]] = []
        draws: list[Draw] = []
        self.slot_of_draw: list[int] = []
        for index, slot in enumerate(slots):
            number = len(draws) + 1
            self._main.append(number)
            draws.append(
                Draw(
                    number=number, at_min=slot.at_min, label=slot.label, moment=slot.moment, steps=slot.steps,
                    asks=slot.asks,
                )
            )  # fmt: skip
            self.slot_of_draw.append(index)
            plan = cultures.get(index)
            if plan is None:
                continue
            tests = tuple(due.test for due in bottled if due.draw == index)
            for set_number in sorted({bottle.set_number for bottle in plan.bottles}):
                if set_number > 1:
                    draws.append(_further_set(len(draws) + 1, slot, set_number, access))
                    self.slot_of_draw.append(index)
                self._bottles.append((len(draws) if set_number > 1 else number, plan, set_number, tests))
        self.draws = tuple(draws)

    def number_of(self, slot: int) -> int:
        """The number of the main draw at this moment."""
        return self._main[slot]

    def bottle_rows(self, site: Site, sequence: DrawOrder) -> list[PlannedTube]:
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


def _further_set(number: int, slot: Slot, set_number: int, access: str) -> Draw:
    """A draw of its own for a further set: another puncture, or another lumen of a line."""
    rule = facts.cultures().rule("new-lumen" if access == "line" else "new-puncture")
    return Draw(
        number=number, at_min=slot.at_min, label=f"another site: culture set {set_number}", moment=slot.moment,
        steps=(rule.text,),
    )  # fmt: skip

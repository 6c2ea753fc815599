"""What a leading cause says of each result, and which results that are missing would tell the most."""

from __future__ import annotations

import msgspec
import numpy as np
from numpy.typing import NDArray

from cubital.facts.causes import CAUSES, Cause
from cubital.inference.population import Floats, spread, typical_native
from cubital.inference.states import states
from cubital.model.results import ResultSet

MOST_NAMED = 4
# A result is named as moved from this part of a healthy group's standard deviation on.
_LEAST_MOVE = 0.5
_LEAST_CHANCE = 0.02
# Of an analyte of which so little is measured nothing is computed back.
_HIDDEN = 0.2

Places = NDArray[np.intp]


class Moved(msgspec.Struct, frozen=True):
    """One result as the leading cause has it: what was measured, and what it would be without the cause.

    `without` is None where the cause hides nearly all of the analyte, so that nothing of the patient's is left to see.
    """

    analyte: str
    measured: float
    without: float | None


class Evidence(msgspec.Struct, frozen=True, kw_only=True):
    """The results that the leading cause moves, the most moved first, and analytes not measured that would tell more.

    `free_g_per_l` is the hemoglobin of hemolysis, or of hemolysis beside the cause where that is likelier than not;
    `hours` is the time of a late separation. None where they do not apply.
    """

    moved: tuple[Moved, ...] = ()
    telling: tuple[str, ...] = ()
    free_g_per_l: float | None = None
    hours: float | None = None


def evidence_of(sample: ResultSet, lead: Cause, chances: Floats, rows: Floats) -> Evidence:
    """What the leading cause says, by its rows' own weights; what would tell more, of every cause worth naming."""
    telling: list[str] = []
    for place in np.argsort(-chances):
        if CAUSES[place] != "none" and chances[place] >= _LEAST_CHANCE:
            best, share = _best_rows(CAUSES[place], rows)
            telling += _telling(sample, best, share) if len(best) else []
    best, share = _best_rows(lead.key, rows)
    if not len(best):
        return Evidence(telling=tuple(dict.fromkeys(telling))[:MOST_NAMED])
    table = states()
    is_red = table.free_g_per_l[best] > 0
    free = float(share[is_red] @ table.free_g_per_l[best][is_red] / share[is_red].sum()) if is_red.any() else 0.0
    return Evidence(
        moved=_moved(sample, best, share), telling=tuple(dict.fromkeys(telling))[:MOST_NAMED],
        free_g_per_l=free if share[is_red].sum() > 0.5 else None,
        hours=float(share @ table.hours[best]) if lead.key == "delayed-separation" else None,
    )  # fmt: skip


def _best_rows(cause: str, rows: Floats) -> tuple[Places, Floats]:
    """The rows of a cause that carry its weight, and the share of each."""
    of = np.flatnonzero(states().cause == CAUSES.index(cause))
    if not len(of) or rows[of].sum() <= 0:
        return of[:0], np.empty(0)
    best = of[rows[of] > 0.05 * rows[of].max()]
    return best, rows[best] / rows[best].sum()


def _moved(sample: ResultSet, rows: Places, share: Floats) -> tuple[Moved, ...]:
    table, known, columns = states(), spread(), spread().columns()
    at = np.array([columns[result.analyte] for result in sample.results], dtype=np.intp)
    value, cells = np.array([result.value for result in sample.results]), np.ix_(rows, at)
    without = share @ (np.maximum(value - table.added[cells], 0.0) / table.slope[cells])
    floor, hidden = known.floor[at], share @ table.slope[cells] < _HIDDEN
    sizes = np.abs(np.log(np.maximum(value, floor) / np.maximum(without, floor))) / known.deviation[at]
    return tuple(
        Moved(
            sample.results[place].analyte, float(value[place]),
            None if value[place] <= floor[place] or hidden[place] else float(without[place]),
        )
        for place in np.argsort(-sizes, kind="stable") if sizes[place] > _LEAST_MOVE
    )  # fmt: skip


def _telling(sample: ResultSet, rows: Places, share: Floats) -> list[str]:
    table, known, native = states(), spread(), typical_native()
    has = {result.analyte for result in sample.results}
    sizes = []
    for column, key in enumerate(known.keys):
        if key not in has and key != "lithium":
            after = float(share @ (table.slope[rows, column] * native[key] + table.added[rows, column]))
            usual = known.deviation[column] * known.spread[column]
            sizes.append((abs(np.log(max(after, known.floor[column]) / native[key])) / usual, key))
    return [key for size, key in sorted(sizes, reverse=True) if size > 1][:MOST_NAMED]

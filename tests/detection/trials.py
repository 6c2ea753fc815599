"""Trials: the clean set with one cause at one dose brought about in every sample, measured, and as sets of results."""

from __future__ import annotations

import zlib
from functools import cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from cubital.model.results import Earlier, Result, ResultSet
from tests.detection.clean_set import CODES, Collections, Floats, Half, collections
from tests.detection.generator import Samples, contaminated, measured, with_more_analytes

CORE = (
    "sodium", "potassium", "chloride", "urea", "creatinine", "glucose", "calcium", "alkaline-phosphatase",
)  # fmt: skip
PANELS = {
    "8": CORE,
    "18": tuple(CODES.values()),
    "22": (*CODES.values(), "magnesium", "bicarbonate", "zinc", "lactate-dehydrogenase"),
}


class Trial(NamedTuple):
    """Samples of one kind: what was measured now and before, a column an analyte, and the same as sets of results."""

    now: dict[str, Floats]
    before: dict[str, Floats]
    samples: list[ResultSet]


class Setting(NamedTuple):
    """A half of the clean set, a panel, and whether the collection before is known."""

    half: Half
    panel: str
    has_earlier: bool


CLEAN = "none"


def trial(
    setting: Setting, cause: str, dose: float | Floats, *, seed: int = 1, also: tuple[str, float] = ("", 0)
) -> Trial:
    """Every collection of the setting after this cause at this dose, one a sample; `also` is a second cause after it.

    The earlier results of a sample are of the subject's collection before, measured in the same laboratory.
    """
    set_ = collections(setting.half)
    native = _native(setting.half, seed)
    rng = np.random.default_rng([seed, zlib.crc32(cause.encode()), int(1e4 * float(np.mean(dose)))])
    samples = Samples(native, rng)
    now = dict(native)
    for name, amount in ((cause, dose), also):
        if name not in (CLEAN, ""):
            samples.columns = now
            now = contaminated(samples, name, np.broadcast_to(np.asarray(amount, dtype=float), samples.count))
    now = measured(samples, now)
    samples.columns = native
    before = measured(samples, native)
    chosen = np.flatnonzero(set_.before >= 0) if setting.has_earlier else np.arange(samples.count)
    earlier = {name: column[set_.before[chosen]] for name, column in before.items()} if setting.has_earlier else {}
    now = {name: column[chosen] for name, column in now.items()}
    return Trial(now, earlier, _result_sets(set_, chosen, now, earlier, PANELS[setting.panel]))


@cache
def _native(half: Half, seed: int) -> dict[str, Floats]:
    return with_more_analytes(collections(half), np.random.default_rng([seed, 0]))


def _result_sets(
    set_: Collections, chosen: NDArray[np.intp], now: dict[str, Floats], before: dict[str, Floats],
    panel: tuple[str, ...],
) -> list[ResultSet]:  # fmt: skip
    found = []
    for place, row in enumerate(chosen.tolist()):
        results, earlier = [], []
        for name in panel:
            low, high = (float(end[name][row]) if name in end else np.nan for end in (set_.low, set_.high))
            ends = {"low": low, "high": high} if 0 < low < high else {}
            if np.isfinite(now[name][place]):
                results.append(Result(analyte=name, value=float(now[name][place]), **ends))
            if before and np.isfinite(before[name][place]):
                was = float(before[name][place])
                earlier.append(Earlier(analyte=name, value=was, hours_before=float(set_.hours[row])))
        found.append(ResultSet(results=tuple(results), previous=tuple(earlier)))
    return found

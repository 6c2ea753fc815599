"""The posterior over causes: panels of 20 analytes in batch on two processes, and one panel alone."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from statistics import median
from time import perf_counter, process_time
from typing import NamedTuple

import numpy as np

from bench.report import Line, show
from cubital.inference.population import spread
from cubital.inference.posterior import posterior
from cubital.inference.table import batch_of
from cubital.inference.verdict import suspicions
from cubital.model.results import Earlier, Result, ResultSet

PROCESSES = 2
TARGET_PER_S, TARGET_MS = 5_000, 20
ANALYTES = 20
CHUNK = 5_000


class Share(NamedTuple):
    """What one process did: its panels, and the seconds of its core and by the clock for the posterior alone."""

    panels: int
    core_s: float
    clock_s: float


def panels(seed: int, count: int, *, has_earlier: bool = False) -> list[ResultSet]:
    """Invented panels, each of the first 20 analytes of population.toml: scattered about the middle of the intervals.

    One in three has potassium as EDTA brings it.
    """
    known, random = spread(), np.random.default_rng(seed)
    keys = known.keys[:ANALYTES]
    values = np.exp(known.middle[:ANALYTES] + known.deviation[:ANALYTES] * random.standard_normal((count, ANALYTES)))
    values[::3, keys.index("potassium")] += random.uniform(0.3, 10, len(values[::3]))
    return [
        ResultSet(
            results=tuple(Result(analyte=key, value=value) for key, value in zip(keys, row, strict=True)),
            previous=tuple(
                Earlier(analyte=key, value=value, hours_before=24.0) for key, value in zip(keys, row, strict=True)
            )
            if has_earlier
            else (),
        )
        for row in values.tolist()
    ]


def weigh_share(seed: int, count: int, has_earlier: bool) -> Share:
    """Weigh `count` panels in this process; only the arrays and the posterior are timed, the table built before."""
    posterior(batch_of(panels(seed, 2, has_earlier=has_earlier)))
    core_s = clock_s = 0.0
    for start in range(0, count, CHUNK):
        some = panels(seed + start, min(CHUNK, count - start), has_earlier=has_earlier)
        started, core_started = perf_counter(), process_time()
        posterior(batch_of(some))
        clock_s += perf_counter() - started
        core_s += process_time() - core_started
    return Share(count, core_s, clock_s)


def run(*, is_quick: bool) -> bool:
    """Measure and print; whether a batch and a panel alone are weighed quickly enough."""
    count = 4_000 if is_quick else 40_000
    lines = []
    with ProcessPoolExecutor(PROCESSES, mp_context=get_context("spawn")) as pool:
        for name, has_earlier in (("none earlier", False), ("all of them earlier too", True)):
            asked = (range(PROCESSES), [count // PROCESSES] * PROCESSES, [has_earlier] * PROCESSES)
            shares = list(pool.map(weigh_share, *asked))
            core_per_s = count / max(share.core_s for share in shares)
            clock_per_s = count / max(share.clock_s for share in shares)
            lines += [
                Line(f"panels a second, {name}: by the cores' time", f"{core_per_s:,.0f}", f"{TARGET_PER_S:,}",
                     core_per_s >= TARGET_PER_S),
                Line(f"panels a second, {name}: by the clock", f"{clock_per_s:,.0f}"),
            ]  # fmt: skip
    ours, whole = _alone_ms(panels(1, 20 if is_quick else 200))
    started = perf_counter()
    suspicions(panels(2, count // 10))
    answers_per_s = count / 10 / (perf_counter() - started)
    return show(
        f"What went into the tube: {count:,} panels of {ANALYTES} analytes, {PROCESSES} processes",
        [
            *lines,
            Line("one panel alone: the posterior", f"{ours:.1f} ms", f"{TARGET_MS} ms", ours <= TARGET_MS),
            Line("one panel alone: the whole answer", f"{whole:.1f} ms", f"{TARGET_MS} ms", whole <= TARGET_MS),
            Line("whole answers a second, with verdict and reasons, one process", f"{answers_per_s:,.0f}"),
        ],
    )


def _alone_ms(some: Sequence[ResultSet]) -> tuple[float, float]:
    """The median time of one panel at a time, the table built before: the posterior, and the whole answer."""
    suspicions(some[:1])
    spent: tuple[list[float], list[float]] = ([], [])
    for sample in some:
        started = perf_counter()
        posterior(batch_of([sample]))
        spent[0].append(1000 * (perf_counter() - started))
        started = perf_counter()
        suspicions([sample])
        spent[1].append(1000 * (perf_counter() - started))
    return median(spent[0]), median(spent[1])

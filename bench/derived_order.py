"""The order of least harm of twelve kinds, beside every guideline, and against trying every order of eight."""

from __future__ import annotations

from collections.abc import Callable
from itertools import permutations
from statistics import median
from time import perf_counter

from bench.report import Line, show
from cubital.app.derived_order import derive_order
from cubital.app.wiring import open_site
from cubital.chemistry.least_harm import harm_of_order, least_harm

KINDS = (
    "culture-aerobic", "citrate", "serum-glass", "serum", "serum-gel", "thrombin", "heparin", "heparin-gel", "edta",
    "acd-a", "fluoride-oxalate", "citrate-sedimentation",
)  # fmt: skip
TARGET_MS = 50


def run(*, is_quick: bool) -> bool:
    """Measure and print; whether twelve kinds are ordered quickly enough and eight as well as by trying every order."""
    site = open_site()
    harms = _harms(KINDS)
    whole = _middle_ms(lambda: derive_order(KINDS, site), runs=5 if is_quick else 31)
    search = _middle_ms(lambda: least_harm(harms), runs=5 if is_quick else 31)
    eight = [row[:8] for row in harms[:8]]
    ours = _middle_ms(lambda: least_harm(eight), runs=5)
    started = perf_counter()
    least = min(harm_of_order(eight, order) for order in permutations(range(8)))
    every = 1000 * (perf_counter() - started)
    return show(
        f"The order of draw derived for {len(KINDS)} kinds",
        [
            Line("with every harm and four guidelines", f"{whole:.1f} ms", f"{TARGET_MS} ms", whole <= TARGET_MS),
            Line("the search over subsets alone", f"{search:.1f} ms"),
            Line("eight kinds: every order over ours", f"{every / ours:,.0f} times as long"),
            Line("eight kinds: the same least harm", "yes" if least == least_harm(eight).harm else "no", "yes",
                 least == least_harm(eight).harm),
        ],
    )  # fmt: skip


def _harms(kinds: tuple[str, ...]) -> list[list[int]]:
    found = {(harm.from_, harm.into): harm.rank for harm in derive_order(kinds, open_site()).harms}
    return [[found.get((a, b), 0) for b in kinds] for a in kinds]


def _middle_ms(work: Callable[[], object], *, runs: int) -> float:
    spent = []
    for _ in range(runs):
        started = perf_counter()
        work()
        spent.append(1000 * (perf_counter() - started))
    return median(spent)

"""How a measurement is printed: one line each, the target beside it."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median
from typing import NamedTuple


class Line(NamedTuple):
    """What was measured, what came out, and what was wanted; `met` None where nothing was."""

    what: str
    found: str
    wanted: str = ""
    met: bool | None = None


def show(title: str, lines: Sequence[Line]) -> bool:
    """Print one block; whether every line with a target met it."""
    print(f"\n{title}")
    width = max(len(line.what) for line in lines)
    for line in lines:
        mark = {True: "met", False: "MISSED", None: ""}[line.met]
        wanted = f"   wanted {line.wanted}: {mark}" if line.wanted else ""
        print(f"  {line.what:<{width}}  {line.found}{wanted}", flush=True)
    return all(line.met is not False for line in lines)


def spread(ratios: Sequence[float]) -> str:
    """The least, the median and the most of these ratios.

    >>> spread([0.25, 2.0, 1234.0])
    'least 0.25, median 2, most 1,230'
    """
    return f"least {_three(min(ratios))}, median {_three(median(ratios))}, most {_three(max(ratios))}"


def _three(value: float) -> str:
    """Three significant digits without an exponent."""
    rounded = float(f"{value:.3g}")
    return f"{rounded:,.0f}" if rounded >= 100 else f"{rounded:g}"

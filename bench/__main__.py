"""Measure and print every ratio, or those named: scripts/bench [--quick] [name …]."""

from __future__ import annotations

import argparse
import os
import platform
import sys
from importlib import import_module
from importlib.metadata import version

PARTS = (
    "twelve_tests", "hard_orders", "million_orders", "start_up", "derived_order", "record", "board", "spin",
    "suspect", "web", "bench_pages", "what_if", "newborns", "uploads",
    "two_servers",
)  # fmt: skip


def main() -> int:
    """Run the parts named, or all; exit status 1 when a target is missed."""
    parser = argparse.ArgumentParser(prog="scripts/bench", description=__doc__)
    parser.add_argument("parts", nargs="*", metavar="name", help=f"one or more of {', '.join(PARTS)}")
    parser.add_argument("--quick", action="store_true", help="a tenth of the orders: a look, not a measurement")
    chosen = parser.parse_args()
    if unknown := [name for name in chosen.parts if name not in PARTS]:
        parser.error(f"found {', '.join(unknown)}; expected one or more of {', '.join(PARTS)}")
    print(
        f"Python {platform.python_version()}, {os.cpu_count()} cores, HiGHS {version('highspy')}, "
        f"OR-Tools {version('ortools')}; everything in one run, one thread each"
    )
    outcomes = [import_module(f"bench.{name}").run(is_quick=chosen.quick) for name in chosen.parts or PARTS]
    return 0 if all(outcomes) else 1


if __name__ == "__main__":
    sys.exit(main())

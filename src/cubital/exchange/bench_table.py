"""`[bench]` of `site.toml`: the site's policy for the bench."""

from __future__ import annotations

from cubital.exchange.table import Table
from cubital.model import BenchPolicy

BENCH_KEYS = ("hemolysis_band",)


def read_bench(top: Table, shipped: BenchPolicy) -> BenchPolicy:
    """The policy of the bench; what the file leaves out is the shipped one."""
    table = top.section("bench")
    if table is None:
        return shipped
    table.refuse_unknown(BENCH_KEYS)
    return BenchPolicy(hemolysis_band=table.flag("hemolysis_band", default=shipped.hemolysis_band))

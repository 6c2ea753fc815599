"""Planning and the bench call the same tubes too late: two codes over the same facts, every test, kind and policy."""

from __future__ import annotations

import pytest

from cubital.handling.clock import Clock
from cubital.handling.keeping import POLICIES, PolicyKey
from cubital.handling.record import state_of
from cubital.model import Test, TubeKind
from cubital.model.specimen import Specimen
from cubital.planning.windows import why_too_late
from tests.contract.events import collected
from tests.published.shipped import SHIPPED

TRAVEL_MIN = (0, 1, 5, 10, 20, 25, 45, 60, 120, 240, 600, 1440)
WAYS = [
    (test, SHIPPED.kinds[kind], accept.matrix)
    for test in SHIPPED.tests.values()
    for accept in test.accepts
    for kind in accept.tubes
    if kind in SHIPPED.kinds
]


def drawn(test: Test, kind: TubeKind, matrix: str) -> Specimen:
    """A tube of this kind as it is drawn for this test, with nothing else recorded of it."""
    told = {"kind": kind.key, "additive": kind.additive, "gel": kind.gel, "matrix": matrix, "tests": (test.key,)}
    found = state_of([collected("one", **told)])
    assert found is not None
    return found


@pytest.mark.parametrize("policy", POLICIES)
def test_what_planning_calls_too_late_the_bench_would_find_past_and_nothing_else(policy: PolicyKey) -> None:
    clock = Clock(SHIPPED, policy=policy)
    compared = late = 0
    for test, kind, matrix in WAYS:
        specimen = drawn(test, kind, matrix)
        ((_, kept),) = clock.ends(specimen)
        spin = next((step for step in clock.steps(specimen) if step.step == "spin"), None)
        clot_s = run_s = 0
        if spin is not None and matrix != "whole-blood":
            clot_s = spin.opens_s
            run_s = 0 if spin.due_s is None or spin.start_s is None else spin.due_s - spin.start_s
        edge_min = 0 if kept.ends_s is None else max(0, (kept.ends_s - run_s) // 60)
        for travel_min in {*TRAVEL_MIN, edge_min, edge_min + 1}:
            is_past = kept.standing(max(60 * travel_min, clot_s) + run_s) == "past"
            why = why_too_late(test, kind, matrix, travel_min=travel_min, windows=policy)
            assert (why is not None) == is_past, (test.key, kind.key, matrix, travel_min, kept)
            compared += 1
            late += is_past
    # Neither side may be empty: the comparison would show nothing.
    assert 0 < late < compared

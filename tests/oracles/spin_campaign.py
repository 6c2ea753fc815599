"""Compare centrifuge runs with the oracles on thousands of benches: python -m tests.oracles.spin_campaign."""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from time import perf_counter

from cubital.handling.spin import plan_spins
from cubital.handling.verify_spin import verify_spins
from cubital.model.centrifuge import SpinPlan
from tests.generators.benches import Waiting, make_bench
from tests.oracles import spin_brute, spin_cpsat
from tests.oracles.spin_cpsat import Timeout, servable

LOADS = ("few", "any", "full")


def tiny(seed: int) -> Waiting:
    """A bench that brute force can settle: tight rotors, tight times, uneven fills, seconds that are no minutes."""
    return make_bench(
        seed, most_tubes=4 + seed % 3, most_centrifuges=2 + (seed % 5 == 0), most_pairs=1 + seed % 3 // 2,
        loads=LOADS[seed % 3], spread_s=(1200, 3600, 0)[seed // 3 % 3],
        slack_s=((600, 1800), (600, 4000), (1200, 1500))[seed // 2 % 3], step_s=(60, 7)[seed % 2],
    )  # fmt: skip


def small(seed: int) -> Waiting:
    """Eight to fourteen tubes: CP-SAT may use as many runs as it likes."""
    return make_bench(
        seed, least_tubes=6, most_tubes=9, most_pairs=2 + seed % 3, most_types=3 + seed % 4, loads=LOADS[seed % 3]
    )


def medium(seed: int) -> Waiting:
    """Ten to twenty tubes."""
    return make_bench(
        seed, least_tubes=10, most_tubes=20, least_pairs=2, most_pairs=8, most_types=4, loads=LOADS[seed % 3],
        slack_s=(1800, 5400),
    )  # fmt: skip


def large(seed: int) -> Waiting:
    """Thirty to forty tubes on rotors of eight places and more."""
    return make_bench(
        seed, least_tubes=30, most_tubes=40, least_pairs=4, most_pairs=12, most_types=6, slack_s=(1800, 5400),
        loads="full",
    )  # fmt: skip


FAMILIES = {"tiny": tiny, "small": small, "medium": medium, "large": large}


def compare(family: str, seed: int, *, seconds: float = 30.0) -> list[str]:
    """Every disagreement between plan, verifier and oracle; `Timeout` where the oracle proves nothing in time.

    CP-SAT is given two runs on each machine more than the plan has in all, but for small benches,
    where it may make a run for each tube.
    """
    waiting = FAMILIES[family](seed)
    tubes, centrifuges, programs, standing = waiting
    plan = plan_spins(tubes, centrifuges, programs, standing=standing)
    faults = [f"verify: {fault}" for fault in verify_spins(plan, tubes, centrifuges, programs, standing=standing)]
    if not plan.is_optimal:
        faults.append(f"stopped at {plan.score}, bound {plan.bound}")
    return faults + _against_oracle(family, waiting, plan, seconds)


def _against_oracle(family: str, waiting: Waiting, plan: SpinPlan, seconds: float) -> list[str]:
    asked = servable(waiting, {left.tube for left in plan.left_out})
    if not asked.tubes:
        return []
    if family == "tiny":
        wanted = spin_brute.solve(asked)
    else:
        most_runs = len(asked.tubes) if family == "small" else plan.score.runs + 2
        wanted = spin_cpsat.solve(asked, most_runs=most_runs, seconds=seconds)
    return [] if wanted == plan.score else [f"oracle: {wanted}, plan: {plan.score}"]


def main() -> int:
    """Run a family over a range of seeds; print each disagreement and the count."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("family", choices=FAMILIES)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--count", type=int, default=1000)
    parser.add_argument("--seconds", type=float, default=30.0)
    said = parser.parse_args()
    counted: Counter[str] = Counter()
    started = perf_counter()
    for seed in range(said.first, said.first + said.count):
        try:
            faults = compare(said.family, seed, seconds=said.seconds)
        except Timeout:
            counted["oracle out of time"] += 1
            continue
        counted["differ" if faults else "agree"] += 1
        for fault in faults:
            print(f"{said.family} {seed}: {fault}", flush=True)
    print(f"{said.family}: {dict(counted)} in {perf_counter() - started:.0f} s")
    return 1 if counted["differ"] else 0


if __name__ == "__main__":
    sys.exit(main())

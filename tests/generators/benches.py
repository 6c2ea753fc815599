"""Benches of waiting tubes and centrifuges, from a seed; all of them invented."""

from __future__ import annotations

from random import Random
from typing import NamedTuple

from msgspec.structs import replace

from cubital.model.centrifuge import Centrifuge, PlaceRow, SpinProgram, Standing, WaitingTube


class Waiting(NamedTuple):
    """One question: tubes, centrifuges, programs, and how the centrifuges stand."""

    tubes: tuple[WaitingTube, ...]
    centrifuges: tuple[Centrifuge, ...]
    programs: dict[str, SpinProgram]
    standing: dict[str, Standing]


def _program(purpose: str, low_g: int, high_g: int, low_min: int, high_min: int, low_c: int, high_c: int,
             fixed_min: int | None = None) -> SpinProgram:  # fmt: skip
    return SpinProgram(
        purpose=purpose, rcf_low_g=low_g, rcf_high_g=high_g, low_s=60 * low_min, high_s=60 * high_min,
        temp_low_c=low_c, temp_high_c=high_c, fixed_angle_s=None if fixed_min is None else 60 * fixed_min,
    )  # fmt: skip


PROGRAMS = {
    p.purpose: p
    for p in (
        _program("serum", 1000, 1300, 10, 10, 20, 25),
        _program("gel", 1000, 2000, 10, 15, 20, 25, 15),
        _program("heparin", 1300, 2000, 10, 15, 20, 25),
        _program("edta", 1000, 2000, 10, 10, 20, 25),
        _program("citrate", 1500, 1500, 15, 15, 18, 25),
        _program("cold", 1500, 2000, 10, 10, 4, 4),
        _program("warm", 1000, 1300, 10, 10, 37, 37),
    )
}
# kind and size, width, blood, gel, programs
TYPES = (
    ("serum 5", 13000, 5300, False, ("serum",)),
    ("gel 5", 13000, 5300, True, ("gel",)),
    ("gel 8", 16000, 8500, True, ("gel",)),
    ("heparin 4", 13000, 4200, False, ("heparin",)),
    ("edta 4", 13000, 4200, False, ("edta",)),
    ("edta 10", 16000, 10600, False, ("edta", "cold")),
    ("citrate 3", 13000, 2900, False, ("citrate",)),
    ("edta cold", 13000, 4200, False, ("cold",)),
    ("warm 5", 13000, 5300, False, ("warm",)),
)


def make_centrifuge(random: Random, key: str, *, least_pairs: int, most_pairs: int) -> Centrifuge:
    """One centrifuge: swing-out or fixed-angle, with one width of places, two, or one that takes both."""
    swings = random.random() < 0.7
    pairs = random.randint(least_pairs, most_pairs)
    widths = random.choice(((12000, 16500),) if pairs < 2 else ((12000, 16500), (12000, 13500)))
    rows = [PlaceRow(pairs=pairs, low_um=widths[0], high_um=widths[1], buckets=("A", "C") if swings else None)]
    if random.random() < 0.5:
        pairs = random.randint(least_pairs, most_pairs)
        rows.append(PlaceRow(pairs=pairs, low_um=15000, high_um=16500, buckets=("B", "D") if swings else None))
    cooled = random.random() < 0.5
    return Centrifuge(
        key=key, rotor="swing-out" if swings else "fixed-angle", radius_mm=random.choice((100, 160, 172)),
        rpm_low=500, rpm_high=random.choice((4000, 5000)), rpm_step=random.choice((10, 50, 100)),
        ramp_s=random.choice((0, 60, 90)), reload_s=random.choice((0, 60, 120)), is_refrigerated=cooled,
        temp_low_c=4 if cooled else 20, temp_high_c=40 if cooled else 25,
        temp_change_s=random.choice((0, 300, 900)) if cooled else 0, balance_mg=random.choice((500, 1000)),
        places=tuple(rows),
    )  # fmt: skip


def make_bench(
    seed: int,
    *,
    most_tubes: int,
    most_centrifuges: int = 3,
    least_pairs: int = 1,
    most_pairs: int = 4,
    least_tubes: int = 1,
    most_types: int = len(TYPES),
    spread_s: int = 5400,
    slack_s: tuple[int, int] = (600, 5400),
    step_s: int = 60,
    loads: str = "few",
) -> Waiting:
    """A bench of this size; `loads` full, few different fills, or any fill."""
    random = Random(seed)
    machines = [
        make_centrifuge(random, f"spin-{n + 1}", least_pairs=least_pairs, most_pairs=most_pairs)
        for n in range(random.randint(1, most_centrifuges))
    ]
    if len(machines) > 1 and random.random() < 0.3:
        machines[1] = replace(machines[0], key="spin-2")
    types = random.sample(TYPES, random.randint(1, min(most_types, len(TYPES))))
    tubes = []
    for n in range(random.randint(least_tubes, most_tubes)):
        kind, width_um, full_mg, gel, programs = random.choice(types)
        ready_s = step_s * random.randint(-10, max(0, spread_s // step_s))
        due_s = ready_s + step_s * random.randint(slack_s[0] // step_s, slack_s[1] // step_s)
        tubes.append(
            WaitingTube(
                id=f"t{n:02}", type=kind, diameter_um=width_um, gel=gel, programs=programs, ready_s=ready_s,
                due_s=None if random.random() < 0.1 else due_s, load_mg=_load(random, full_mg, loads),
            )
        )  # fmt: skip
    standing = {
        m.key: Standing(
            free_s=random.choice((0, 0, 300, 1200)),
            temp_c=random.choice((4, 20, 22)) if m.is_refrigerated and random.random() < 0.8 else None,
        )
        for m in machines
    }
    return Waiting(tuple(tubes), tuple(machines), PROGRAMS, standing)


def _load(random: Random, full_mg: int, loads: str) -> int:
    if loads == "full":
        return full_mg
    if loads == "few":
        return full_mg if random.random() < 0.8 else full_mg // 2
    return full_mg - random.randint(0, full_mg // 2)

"""Optima that CP-SAT proved once, kept so that a test reaches them in seconds: python -m tests.oracles.recorded."""

from __future__ import annotations

from pathlib import Path

import msgspec

from cubital.planning import plan_draw
from tests.oracles import cpsat
from tests.oracles.campaign import make_case
from tests.oracles.contract import Promise, promise

FILE = Path(__file__).with_name("recorded_optima.json")
SEEDS = {"small": 500, "medium": 240, "realistic": 240, "hard": 12}
FIRST_SEED = 50_000  # none of the seeds that the other comparisons solve


class Optimum(msgspec.Struct, frozen=True, array_like=True):
    """Volumes taken, what is left out by rank, tubes, blood in microlitres, preference."""

    volumes: str
    loss: tuple[int, ...]
    tubes: int
    blood_ul: int
    preference: int

    @classmethod
    def of(cls, reached: Promise) -> Optimum:
        """The value of what was promised or planned, without the packing that reaches it."""
        return cls(reached.volumes, reached.loss, reached.tubes, reached.blood_ul, reached.preference)


class Record(msgspec.Struct, frozen=True, array_like=True):
    """The optimum of one generated case, and the blood limit in microlitres it was solved under."""

    family: str
    seed: int
    budget: bool
    limit_ul: int | None
    optimum: Optimum


def prove(family: str, seed: int) -> Record:
    """What CP-SAT proves for this case; every third has a blood limit, hard ones never."""
    budget = family != "hard" and seed % 3 == 0
    order, site = make_case(family, seed, budget=budget)
    limit_ul = plan_draw(order, site).totals.limit_ul
    proved = promise(order, site, cpsat.solve, limit_ul=limit_ul)
    return Record(family, seed, budget, limit_ul, Optimum.of(proved))


def read() -> list[Record]:
    """The recorded optima."""
    return msgspec.json.decode(FILE.read_bytes(), type=list[Record])


def main() -> None:
    """Prove every case again and write the record."""
    seeds = ((family, FIRST_SEED + number) for family, count in SEEDS.items() for number in range(count))
    lines = [msgspec.json.encode(prove(family, seed)).decode() for family, seed in seeds]
    FILE.write_text("[\n" + ",\n".join(lines) + "\n]\n", encoding="utf-8")
    print(f"{len(lines)} optima proved")


if __name__ == "__main__":
    main()

"""Do killed and racing stations lose or double anything? `python -m tests.attack.stations [SEED]`.

In each kind of database 300 stations are killed with SIGKILL at a random moment of their work, two at a time, and eight
race for 2,000 specimens. The record is checked after.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from cubital.app.wiring import upgrade_store
from tests.contract.cluster import Cluster
from tests.contract.test_faults import SPECIMENS, kill_stations, race_stations

KILLS = 300


@contextmanager
def databases(*names: str) -> Iterator[dict[str, str]]:
    """New, empty records by kind and name: `sqlite kills` and so on."""
    cluster = Cluster()
    try:
        with TemporaryDirectory(prefix="cubital-attack-") as folder:
            found = {}
            for name in names:
                found[f"sqlite {name}"] = str(Path(folder) / f"{name}.db")
                cluster.ask(f"CREATE DATABASE {name}")
                found[f"postgresql {name}"] = cluster.address(name)
            for address in found.values():
                upgrade_store(address)
            yield found
    finally:
        cluster.remove()


def main(seed: int) -> int:
    with databases("kills", "races") as addresses:
        for kind in ("sqlite", "postgresql"):
            answered, silent = kill_stations(addresses[f"{kind} kills"], KILLS // 2, seed=seed)
            print(f"{kind}: {KILLS} kills, {answered} answers, none lost; {silent} entries unanswered", flush=True)
            losses = race_stations(addresses[f"{kind} races"])
            print(f"{kind}: {SPECIMENS} races of 8 stations, one winner each, {losses} told who won", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if sys.argv[1:] else 20260302))

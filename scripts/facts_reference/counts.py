"""How many shipped values carry each mark, by file and by what a plan uses, counted from the data itself."""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from cubital import facts
from facts_reference.words import table

DATA = Path(__file__).resolve().parents[2] / "src" / "cubital" / "data"
HEADS = ("read", "abstract", "second-hand", "computed", "common practice", "memory")
_SEEN = {"read": "read", "abstract": "abstract", "secondary": "second-hand", "memory": "memory"}
# What a plan takes its values from. Of tests.toml the codes, and panels altogether, change no tube; a mark whose note
# begins with "rival" is of a figure that stands beside the one used.
GROUPS: Mapping[str, tuple[str, ...]] = {
    "tubes: kinds, sizes, dead volumes": ("tubes.toml",),
    "additives": ("additives.toml",),
    "orders of draw": ("order_of_draw.toml",),
    "tests: accepted specimens": ("tests.toml accepts",),
    "tests: volumes": ("tests.toml volume",),
    "tests: handling, times, ranks and cultures": ("tests.toml other", "ranks.toml"),
    "moments of draws": ("moments.toml",),
    "blood limits": ("blood_volumes.toml", "sampling_limits.toml", "blood_loss.toml"),
    "stability and handling": ("stability.toml", "keeping.toml", "handling.toml", "gels.toml", "whole_blood.toml"),
    "mixing, filling, accesses, cultures, hematocrits": (
        "mixing.toml", "filling.toml", "accesses.toml", "cultures.toml", "hematocrits.toml",
    ),
}  # fmt: skip


def counts() -> list[str]:
    """The two tables, with the share that was not seen at first hand."""
    found = count_marks()
    files = Counter[str]()
    rows = []
    for name in sorted({key.split(" ")[0] for key in found}):
        total = sum((each for key, each in found.items() if key.split(" ")[0] == name), Counter[str]())
        files += total
        rows.append(_row(f"`{name}`", total))
    rows.append(_row("all", files))
    used, groups = Counter[str](), []
    for group, keys in GROUPS.items():
        total = sum((found.get(key, Counter()) for key in keys), Counter[str]())
        used += total
        groups.append(_row(group, total))
    groups.append(_row("together", used))
    heads = ("marks", *HEADS, "memory or second-hand, %")
    return [
        "## How many values carry each mark",
        "Counted from the data by `scripts/facts_reference/counts.py`: each mark, and each claim under `from`, once. A "
        "mark of a standard or a publication counts by how its source was seen.",
        table(("file", *heads), rows),
        "What a plan uses, by group; a rival, which stands beside the figure used, is not counted:",
        table(("group", *heads), groups),
    ]


def count_marks() -> dict[str, Counter[str]]:
    """The marks of each file by how they were seen; those of tests.toml by what they are claims of."""
    found: dict[str, Counter[str]] = {}
    for path in sorted(DATA.glob("*.toml")):
        if path.name in ("sources.toml", "edition.toml"):
            continue
        with path.open("rb") as file:
            content = tomllib.load(file)
        for claim, basis, source, is_rival in _marks(content):
            key = f"{path.name} rival" if is_rival else path.name
            if key == "tests.toml":
                key += f" {claim}" if claim in ("accepts", "volume", "codes") else " other"
            found.setdefault(key, Counter())[_how(basis, source)] += 1
    return found


def _marks(value: Any, name: str = "") -> Iterator[tuple[str, str, str, bool]]:
    """Every mark at or below a value: the key it stands under, its basis and source, and whether it is a rival's."""
    if isinstance(value, Mapping):
        if "basis" in value and "source" in value:
            yield name, str(value["basis"]), str(value["source"]), str(value.get("note", "")).startswith("rival")
        for key, item in value.items():
            if key == "from" and isinstance(item, Mapping) and "basis" not in item:
                yield from ((claim, *pair, False) for claim, pair in item.items() if isinstance(pair, list))
            else:
                yield from _marks(item, key)
    elif isinstance(value, list):
        for item in value:
            yield from _marks(item, name)


def _how(basis: str, source: str) -> str:
    if basis in ("standard", "published"):
        return _SEEN[facts.sources()[source].seen]
    return "common practice" if basis == "common-practice" else basis


def _row(name: str, total: Counter[str]) -> tuple[object, ...]:
    marks = sum(total.values())
    unseen = total["memory"] + total["second-hand"]
    return (name, marks, *(total[head] for head in HEADS), f"{100 * unseen / marks:.0f}" if marks else "")

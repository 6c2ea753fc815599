"""Faults between the entries of the directory's files: names, members of panels, and times that cannot be kept."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any

from cubital.errors import FactsError
from cubital.facts.additives import additives, clotting, spins
from cubital.facts.tubes import tube_table

_NOT_LETTERS = re.compile(r"\W|_")


def refuse_names_of_two(table: Mapping[str, Any], *, file: str) -> None:
    """Refuse a name, an abbreviation or a key that two entries have, whatever its case and punctuation."""
    owners: dict[str, str] = {}
    for key, entry in table.items():
        for name in (key, entry["name"], *entry.get("also", ())):
            owner = owners.setdefault(_NOT_LETTERS.sub("", name.casefold()), key)
            if owner != key:
                raise FactsError(
                    f"found {name!r}, which [{owner}] has too; expected a name that no other entry has; remove one of "
                    "them, or make it a question in ambiguous.toml",
                    where=f"{file} [{key}]",
                )


def refuse_panels_within(table: Mapping[str, Any], *, file: str) -> None:
    """Refuse a panel that holds itself or another panel: a panel holds tests alone."""
    for key, entry in table.items():
        for member in (*entry.get("tests", ()), *(test for step in entry.get("series", ()) for test in step["tests"])):
            if member in table:
                what = "the panel itself" if member == key else f"the panel {member!r}"
                raise FactsError(
                    f"found {what} among its tests; expected tests alone; write the tests of that panel",
                    where=f"{file} [{key}]",
                )


def refuse_too_short(test: Mapping[str, Any], separate_within_min: int, *, where: str) -> None:
    """Refuse a time to separation by which no tube that this test accepts has clotted and been spun.

    A tube is taken to be at the bench at once, and to be spun as shortly as a source allows for its family.
    """
    earliest_s = min(_separated_s(test), default=None)
    if earliest_s is not None and earliest_s > 60 * separate_within_min:
        raise FactsError(
            f"found separate_within_min = {separate_within_min}; expected at least {-(-earliest_s // 60)}: no tube "
            "that the test accepts has clotted and been spun before; correct the time, or the tubes in tests.toml",
            where=where,
        )


def _separated_s(test: Mapping[str, Any]) -> Iterator[int]:
    """The earliest second after the draw at which each accepted tube is off its cells; 0 for one that is not spun."""
    for accept in test.get("accepts", ()):
        for key in accept["tubes"]:
            kind = tube_table()[key]
            additive, gel = kind["additive"], kind.get("gel", False)
            if accept["matrix"] == "whole-blood":
                yield 0
                continue
            clot = clotting(additive, gel, "warm" in test)
            family = additives()[additive].family
            minutes = min((spin.minutes for spin in spins() if family in spin.families), default=0)
            yield (clot.min_s if clot is not None else 0) + 60 * minutes

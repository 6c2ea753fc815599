"""What a site that says nothing gets, and the edition of the facts."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from functools import cache
from types import MappingProxyType
from typing import Any

from cubital.errors import FactsError
from cubital.facts.reading import read_table, refuse_unknown, shape
from cubital.facts.sources import Mark, check_marks


@cache
def edition() -> str:
    """The day the shipped facts were last changed, as year-month-day."""
    return load_edition(read_table("edition.toml"), file="edition.toml")


def load_edition(table: Mapping[str, Any], *, file: str) -> str:
    """The edition a parsed table holds; refuses what is not a date."""
    refuse_unknown(table, ("edition",), file=file)
    found = table.get("edition")
    try:
        return datetime.date.fromisoformat(found if isinstance(found, str) else "").isoformat()
    except ValueError:
        raise FactsError(
            f"found {found!r}; expected a date such as '2025-11-25'; write one", where=f"{file} [edition]"
        ) from None


@cache
def site_table() -> Mapping[str, Any]:
    """The shipped defaults of a site.toml: `planning` and `bench`, in a site's own form."""
    table, _ = load_site(read_table("site.toml"), file="site.toml")
    return table


@cache
def site_marks() -> Mapping[str, Mark]:
    """What each shipped default of a site rests on, by its key."""
    _, marks = load_site(read_table("site.toml"), file="site.toml")
    return marks


def load_site(table: Mapping[str, Any], *, file: str) -> tuple[Mapping[str, Any], Mapping[str, Mark]]:
    """The defaults a parsed table holds, and the mark of each; refuses a default without a mark."""
    refuse_unknown(table, ("planning", "bench", "from"), file=file)
    planning, bench = table.get("planning"), table.get("bench", {})
    if not isinstance(planning, dict):
        raise FactsError("found no [planning]; expected the defaults; add them", where=file)
    marks = shape(table.get("from", {}), dict[str, Mark], file=file, entry="from")
    if set(marks) != {*planning, *bench}:
        odd = ", ".join(sorted(set(marks) ^ {*planning, *bench}))
        raise FactsError(
            f"found {odd} with a value or a mark alone; expected both for each default; add the other",
            where=f"{file} [from]",
        )
    check_marks(marks, file=file, entry="from")
    return MappingProxyType({"planning": planning, "bench": bench}), MappingProxyType(marks)

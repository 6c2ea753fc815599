"""Where a fact comes from: the sources and the mark every fact carries."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType
from typing import Literal

import msgspec

from cubital.errors import FactsError
from cubital.facts.reading import read_table, shape

Basis = Literal["standard", "published", "common-practice", "memory", "computed"]
Seen = Literal["read", "abstract", "secondary", "memory"]

_SEEN_WORDS = {
    "read": "read",
    "abstract": "abstract read",
    "secondary": "read second-hand",
    "memory": "from memory",
}


class Source(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Who said it, where, when, and how it was seen."""

    key: str
    authors: str
    title: str
    published_in: str
    seen: Seen
    number: str = "none"
    year: int | None = None

    def citation(self) -> str:
        """The source in one line, ending with how it was seen.

        >>> sources()["nordin-2004"].citation().endswith("(abstract read)")
        True
        """
        if self.key in ("common-practice", "memory", "computed"):
            return self.title
        year = f", {self.year}" if self.year is not None else ""
        number = f", {self.number}" if self.number != "none" else ""
        return f"{self.authors}. {self.title}. {self.published_in}{year}{number} ({_SEEN_WORDS[self.seen]})"

    def short(self) -> str:
        """The first author and the year.

        >>> sources()["lorde-2025"].short()
        'Lorde 2025'
        """
        first = self.authors.partition(",")[0]
        return first if self.year is None else f"{first} {self.year}"


class Mark(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a fact rests on: its basis, its source, and where in the source."""

    basis: Basis
    source: str
    locator: str | None = None
    note: str | None = None

    def label(self) -> str:
        """The mark in a few words; opens sources.toml only for a basis that rests on a text.

        >>> Mark(basis="common-practice", source="common-practice").label()
        'common practice, no source'
        >>> Mark(basis="published", source="icsh-1993").label()
        'published: icsh-1993 (abstract read)'
        """
        if self.basis == "common-practice":
            return "common practice, no source"
        if self.basis == "memory":
            return "from memory" if self.source == "memory" else f"from memory of {self.source}"
        if self.basis == "computed":
            return "computed" if self.source == "computed" else f"computed from {self.source}"
        return f"{self.basis}: {self.source} ({_SEEN_WORDS[sources()[self.source].seen]})"


@cache
def sources() -> Mapping[str, Source]:
    """Every source by its key."""
    return load_sources(read_table("sources.toml"), file="sources.toml")


def load_sources(table: Mapping[str, object], *, file: str) -> Mapping[str, Source]:
    """The sources a parsed table holds; refuses what is unknown or missing."""
    return MappingProxyType(
        {
            key: shape({"key": key, **entry}, Source, file=file, entry=key)
            for key, entry in entries(table, file=file)
        }
    )


def entries(table: Mapping[str, object], *, file: str) -> list[tuple[str, dict[str, object]]]:
    """The entries of a file that is a table of tables; refuses a bare value among them."""
    found = []
    for key, entry in table.items():
        if not isinstance(entry, dict):
            raise FactsError(
                f"found {entry!r}; expected an entry; write [{key}] and its values below",
                where=f"{file} [{key}]",
            )
        found.append((key, entry))
    return found


def check_marks(value: object, *, file: str, entry: str) -> None:
    """Refuse any mark at or below `value` whose source is unknown or does not bear its basis."""
    if isinstance(value, Mark):
        check_mark(value.basis, value.source, where=f"{file} [{entry}]")
    elif isinstance(value, msgspec.Struct):
        for name in value.__struct_fields__:
            check_marks(getattr(value, name), file=file, entry=entry)
    elif isinstance(value, tuple | list):
        for item in value:
            check_marks(item, file=file, entry=entry)
    elif isinstance(value, Mapping):
        for item in value.values():
            check_marks(item, file=file, entry=entry)


def check_mark(basis: str, key: str, *, where: str) -> None:
    """Refuse a source that is not in sources.toml, or a basis that it does not bear."""
    source = sources().get(key)
    if source is None:
        raise FactsError(
            f"found source {key!r}; expected a key of sources.toml; add the source there or correct the key",
            where=where,
        )
    if basis in ("standard", "published") and source.seen == "memory":
        raise FactsError(
            f"found basis {basis!r} on {key!r}, which was only recalled; expected basis 'memory'; "
            "read the source or change the basis",
            where=where,
        )
    if (basis == "common-practice") != (key == "common-practice"):
        raise FactsError(
            f"found basis {basis!r} with source {key!r}; expected common-practice for both or neither; "
            "correct one of them",
            where=where,
        )

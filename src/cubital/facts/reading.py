"""Opening a file of facts and giving its entries their shape; the only code that touches data/."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path
from threading import Lock
from typing import Any, TypeVar

import msgspec
import tomli

from cubital.errors import FactsError

DATA = Path(__file__).resolve().parent.parent / "data"

Record = TypeVar("Record")
# msgspec works out a type when it is first converted to; two threads that do so at once can end the whole process.
_SHAPING = Lock()


def read_table(file: str, *, folder: Path = DATA) -> dict[str, Any]:
    """What the TOML file `file` holds; decimals stay exact.

    Raises `FactsError` when the file is absent, is not TOML, or defines a name twice.
    """
    try:
        text = (folder / file).read_text(encoding="utf-8")
    except FileNotFoundError:
        raise FactsError(
            "the file is not there; expected a file of facts; install the package again", where=file
        ) from None
    except UnicodeDecodeError as fault:
        raise FactsError(
            f"found a byte that is not UTF-8 at {fault.start}; save it as UTF-8", where=file
        ) from None
    try:
        return tomli.loads(text, parse_float=Decimal)
    except tomli.TOMLDecodeError as fault:
        raise FactsError(
            f"found text that is not TOML, or a name given twice: {fault}; correct it there", where=file
        ) from None


def shape(value: object, record: type[Record], *, file: str, entry: str) -> Record:
    """The value as a record of this type; refuses unknown, missing and mistyped keys."""
    try:
        with _SHAPING:
            return msgspec.convert(value, record)
    except msgspec.ValidationError as fault:
        raise FactsError(f"{fault}; correct the entry", where=f"{file} [{entry}]") from None


def family(table: Mapping[str, Any], name: str, *, file: str) -> list[Any]:
    """The list of tables `[[name]]` in a file that holds nothing else but the families its reader names."""
    found = table.get(name)
    if not isinstance(found, list) or not found:
        raise FactsError(f"found no [[{name}]]; expected at least one; add an entry", where=file)
    return found


def refuse_unknown(table: Mapping[str, Any], known: tuple[str, ...], *, file: str) -> None:
    """Refuse any top-level name that is not among `known`."""
    for name in table:
        if name not in known:
            raise FactsError(
                f"found {name!r}; expected one of {', '.join(known)}; correct the name",
                where=f"{file} [{name}]",
            )

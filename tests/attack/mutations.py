"""Sound documents spoilt in many small ways: by their parts, by their bytes; the same seed spoils the same way."""

from __future__ import annotations

import copy
import datetime
import json
import random
from collections.abc import Callable
from decimal import Decimal
from typing import Any

ESCAPE = "\x1b]0;taken\x07\x1b[31m"
# What JSON, a workbook or a person may put where something else belongs.
ODD_WORDS = (
    "", " ", "x", "K", "kk", "LIPID", "2823-3", "mmol/L", "4 a", "-1 a", "2026-02-30", "2026-11-25", "25:61", "nan",
    "inf", "-0", "1e400", "1.000", "0x1", "shipped", "none", "yes", "\0", ESCAPE, "a\nb", "\u202eabc", "\ud800", "１２",
    "=1+1", "#K", "Patient/1", "http://loinc.org", "urn:cubital:", "[k]", "a | b", "\\", "x" * 400, "Ä" * 61,
)  # fmt: skip
ODD_NUMBERS = (0, 1, -1, 2**63, -(2**63), 10**400, 0.1, -0.5, 1e300, 1e-300, 4300, 20_000)
ODD_PLAIN: tuple[Any, ...] = (
    None, True, False, *ODD_NUMBERS, *ODD_WORDS, [], {}, [[]], [None], [{}], [[[]]], {"": 1}, {"a": {}}, ["K", "K"],
    {"url": []}, {"coding": [[]]}, {"system": ESCAPE, "code": ESCAPE}, [1, "x", None],
)  # fmt: skip
# TOML and workbooks know more kinds of values than JSON.
ODD_TYPED: tuple[Any, ...] = (
    *ODD_PLAIN, Decimal("nan"), Decimal("inf"), Decimal("-inf"), Decimal("1e-30"), Decimal("1E+400"),
    datetime.date(2027, 3, 31), datetime.time(12), datetime.datetime(2027, 3, 31, 12),
    datetime.datetime(2027, 3, 31, tzinfo=datetime.UTC), [Decimal("nan")], {"draw_ml": Decimal("nan")},
    {"draw_ml": datetime.date(2027, 3, 31)}, [datetime.date(2027, 3, 31)], [{"draw_ml": Decimal("sNaN")}],
)  # fmt: skip
ODD_BYTES = (
    b"", b"\0", b"\xff", b"\xef\xbb\xbf", b"\xed\xa0\x80", b'"', b"'", b",", b";", b"\t", b"\r", b"\n", b"[", b"]",
    b"{", b"}", b"=", b"nan", b"-1", b"1e9999", b"true", b"null", b"\\u0000", b"\\u001b[31m", b"\x1b[31m", b"\\ud800",
    b"2027-03-31", b"[[", b"]]", b'"""', b"9" * 5000,
)  # fmt: skip


def spoil(value: Any, chance: random.Random, odd: tuple[Any, ...] = ODD_PLAIN) -> Any:
    """The value with one to three of its parts replaced, taken out, doubled, renamed or put under another name."""
    value = copy.deepcopy(value)
    for _ in range(chance.choice((1, 1, 1, 2, 3))):
        parent, key = _place(value, chance)
        if parent is None:
            if chance.random() < 0.05:
                return copy.deepcopy(chance.choice(odd))
            continue
        _spoil_place(parent, key, chance, odd)
    return value


def _place(value: Any, chance: random.Random) -> tuple[Any, Any]:
    """The holder of some part and the part's name; deeper parts as likely as shallow ones."""
    places: list[tuple[Any, Any]] = []
    stack = [value]
    while stack:
        one = stack.pop()
        inner = one.items() if isinstance(one, dict) else enumerate(one) if isinstance(one, list) else ()
        for key, part in inner:
            places.append((one, key))
            stack.append(part)
    return chance.choice(places) if places else (None, None)


def _spoil_place(parent: Any, key: Any, chance: random.Random, odd: tuple[Any, ...]) -> None:
    how = chance.randrange(8)
    if how == 0:
        del parent[key]
    elif how == 1 and isinstance(parent, list):
        parent.insert(key, copy.deepcopy(parent[key]))
    elif how == 1:
        parent[_odd_name(chance)] = parent.pop(key)
    elif how == 2 and isinstance(parent, dict):
        parent[_odd_name(chance)] = copy.deepcopy(chance.choice(odd))
    elif how == 3 and isinstance(parent, dict):
        # The value of one field under the name of another.
        other = chance.choice(list(parent))
        parent[other] = copy.deepcopy(parent[key])
    elif how == 4:
        parent[key] = [copy.deepcopy(parent[key])]
    else:
        parent[key] = copy.deepcopy(chance.choice(odd))


def _odd_name(chance: random.Random) -> str:
    return chance.choice(ODD_WORDS) or "unnamed"


def spoil_bytes(data: bytes, chance: random.Random) -> bytes:
    """The bytes with one to three runs of them replaced, taken out or doubled."""
    for _ in range(chance.choice((1, 1, 2, 3))):
        start = chance.randint(0, len(data))
        end = min(len(data), start + chance.choice((0, 0, 1, 1, 2, 5, 20, 200)))
        how = chance.randrange(4)
        middle = data[start:end] * 2 if how == 0 else b"" if how == 1 else chance.choice(ODD_BYTES)
        data = data[:start] + middle + data[end:]
    return data


def json_bytes(value: Any) -> bytes:
    """The JSON of a value, whatever stands in it; half a letter is written by its number."""
    return json.dumps(value, default=str).encode()


def spoilt_json(seeds: tuple[Any, ...]) -> Callable[[random.Random], bytes]:
    """What makes spoilt JSON of these documents: mostly by its parts, at times by its bytes."""
    texts = tuple(json_bytes(seed) for seed in seeds)

    def make(chance: random.Random) -> bytes:
        number = chance.randrange(len(seeds))
        if chance.random() < 0.1:
            return spoil_bytes(texts[number], chance)
        return json_bytes(spoil(seeds[number], chance))

    return make


def spoilt_rows(
    heading: tuple[str, ...], rows: tuple[dict[str, str], ...]
) -> Callable[[random.Random], list[list[str]]]:
    """What makes spoilt tables of these rows: cells, columns and lines of them."""

    def make(chance: random.Random) -> list[list[str]]:
        picked = [dict(row) for row in chance.sample(rows, min(len(rows), chance.randint(1, 6)))]
        columns = list(heading)
        if chance.random() < 0.2:
            columns[chance.randrange(len(columns))] = chance.choice((*ODD_WORDS, *heading))
        for _ in range(chance.randint(1, 4)):
            row = chance.choice(picked)
            row[chance.choice(heading)] = str(chance.choice((*ODD_WORDS, *ODD_NUMBERS[:8], *row.values())))
        if chance.random() < 0.2:
            picked.append(dict(chance.choice(picked)))
        return [columns, *([row.get(column, "") for column in heading] for row in picked)]

    return make

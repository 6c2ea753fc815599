"""JSON bytes from outside: decoded with exact numbers, bounded, or refused with the position."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

import msgspec

from cubital.errors import ExchangeError

MOST_BYTES = 5_000_000
_BOM = b"\xef\xbb\xbf"
_BYTE = re.compile(r"\(byte ([0-9]+)\)")
_DECODER = msgspec.json.Decoder(float_hook=Decimal)


def decode_json(data: bytes | str, *, where: str, most_bytes: int = MOST_BYTES) -> Any:
    """The value in these bytes, decimals exact; a repeated key or anything else amiss is refused.

    Raises `ExchangeError` with the byte at which the JSON breaks.
    """
    raw = _encode(data, where)
    if len(raw) > most_bytes:
        raise ExchangeError(
            f"found {len(raw)} bytes; expected at most {most_bytes}; split the input", where=where
        )
    if raw.startswith(_BOM):
        raw = raw[len(_BOM) :]
    try:
        value = _DECODER.decode(raw)
    except msgspec.DecodeError as error:
        raise ExchangeError(_what_broke(str(error), raw), where=where) from None
    except RecursionError:
        raise ExchangeError("found lists nested too deep; expected JSON of an order", where=where) from None
    except UnicodeDecodeError:
        raise ExchangeError("found bytes that are not UTF-8; save the input as UTF-8", where=where) from None
    except ArithmeticError:
        raise ExchangeError("found a number too long to read; shorten it", where=where) from None
    return value


def refuse_repeated_keys(data: bytes | str, *, where: str) -> None:
    """Refuse an object that writes one key twice: which of the two was meant cannot be known.

    The input must have passed `decode_json`.
    """
    import json

    def check(pairs: list[tuple[str, Any]]) -> None:
        if len({key for key, _ in pairs}) < len(pairs):
            seen: set[str] = set()
            twice = next(key for key, _ in pairs if key in seen or seen.add(key))  # type: ignore[func-returns-value]
            raise ExchangeError(
                f"found the key {twice[:60]!r} twice in one object; expected it once; remove one", where=where
            )

    raw = data if isinstance(data, bytes) else data.encode("utf-8")
    try:
        json.loads(raw.removeprefix(_BOM), object_pairs_hook=check, parse_int=str, parse_float=str)
    except RecursionError:
        raise ExchangeError("found lists nested too deep; expected JSON of an order", where=where) from None


def _encode(data: bytes | str, where: str) -> bytes:
    if isinstance(data, bytes):
        return data
    try:
        return data.encode("utf-8")
    except UnicodeEncodeError:
        raise ExchangeError("found text that is not Unicode; save the input as UTF-8", where=where) from None


def _what_broke(said: str, raw: bytes) -> str:
    if not raw.strip():
        return "found nothing; expected JSON; write an order"
    if "truncated" in said:
        return f"found the end of the input at byte {len(raw)}; expected the rest of the JSON; send it whole"
    match = _BYTE.search(said)
    if match is None:
        return f"found a number out of range or text that is not JSON ({said[:80]}); correct it"
    at = int(match[1])
    line = raw.count(b"\n", 0, at) + 1
    what = "more text after the end" if "trailing" in said else "a character that is not JSON"
    return f"found {what} at byte {at} (line {line}); expected JSON; correct that place"

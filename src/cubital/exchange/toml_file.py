"""One TOML file of a site: bytes to a table, or a finding that says at which line it breaks."""

from __future__ import annotations

import re
import tomllib
from decimal import Decimal
from pathlib import Path
from typing import Any

from cubital.exchange.table import show
from cubital.model import Finding

MOST_BYTES = 5_000_000
_PLACE = re.compile(r" \(at line (\d+), column (\d+)\)$")
_TWICE = re.compile(r"Cannot declare \((.+?),?\) twice|Cannot overwrite a value")
_DAY = re.compile(r"=\s*\d{1,2}[./-]\d{1,2}[./-]\d{4}\b")
_COMMA_DECIMAL = re.compile(r"=\s*(\d+),(\d+)")
_SMART_QUOTE = re.compile("[\u2018-\u201f\u00ab\u00bb]")
_ODD_HEADER = re.compile(r"\s*\[[^\]\"']*[^\]\"'A-Za-z0-9_.-]")
_BARE_WORD = re.compile(r"=\s*[A-Za-z]")


def read_toml(path: Path, *, findings: list[Finding]) -> dict[str, Any] | None:
    """The table in this file, numbers exact; None, with a finding, where it cannot be read."""
    try:
        size = path.stat().st_size
        data = path.read_bytes() if size <= MOST_BYTES else b""
    except OSError as error:
        _note(
            findings,
            path,
            "",
            error.strerror or "an unreadable file",
            "a readable file",
            "check its permissions",
        )
        return None
    if size > MOST_BYTES:
        _note(findings, path, "", f"{size} bytes", f"at most {MOST_BYTES} bytes", "split or shorten it")
        return None
    return parse_toml(data, path=path, findings=findings)


def parse_toml(data: bytes, *, path: Path, findings: list[Finding]) -> dict[str, Any] | None:
    """The table in these bytes; None, with a finding, where they are not TOML in UTF-8."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        _note(
            findings,
            path,
            f"line {line}",
            f"byte 0x{data[error.start]:02x}",
            "UTF-8 text",
            "save it as UTF-8",
        )
        return None
    try:
        return tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        entry, found, remedy = _break_of(" ".join(str(error).split())[:200], text)
        _note(findings, path, entry, found, "TOML 1.0", remedy)
    except RecursionError:
        _note(findings, path, "", "tables nested too deep", "TOML 1.0", "flatten it")
    except (ValueError, ArithmeticError):
        _note(findings, path, "", "a number too long to read", "TOML 1.0", "shorten it")
    return None


def _break_of(said: str, text: str) -> tuple[str, str, str]:
    """Where a file is no longer TOML, what stands there, and what to write instead of a slip that is common."""
    place = _PLACE.search(said)
    if place is None:
        return "", said, "close the last bracket or quote"
    number, column = int(place[1]), int(place[2])
    line = text.replace("\r\n", "\n").split("\n")[number - 1]
    said = said[: place.start()]
    return f"line {number}", f"{show(line[max(0, column - 41) :].strip())} ({said})", _remedy_for(line, said)


def _remedy_for(line: str, said: str) -> str:
    comma, quote = _COMMA_DECIMAL.search(line), _SMART_QUOTE.search(line)
    if _TWICE.search(said):
        return "write each name once; rename one, or take one out"
    if said.startswith("Illegal character"):
        return "take that character out"
    if quote is not None:
        return f'write straight quotes, " instead of {quote[0]}'
    if _DAY.search(line):
        return "write the day as year-month-day, such as 2027-03-31"
    if comma is not None:
        return f"write a decimal point: {comma[1]}.{comma[2]}"
    if _ODD_HEADER.match(line):
        return 'write the name in brackets with letters, digits and hyphens only, or in quotes: ["A and B"]'
    if _BARE_WORD.search(line) and said.startswith("Invalid value"):
        return "write words in quotes, yes as true and no as false"
    return "correct that place"


def _note(findings: list[Finding], path: Path, entry: str, found: str, expected: str, remedy: str) -> None:
    findings.append(
        Finding(level="error", file=path.name, entry=entry, found=found, expected=expected, remedy=remedy)
    )

"""One TOML file of a site: bytes to a table, or a finding that says at which line it breaks."""

from __future__ import annotations

import tomllib
from decimal import Decimal
from pathlib import Path
from typing import Any

from cubital.model import Finding

MOST_BYTES = 5_000_000


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
        said = " ".join(str(error).split())[:200]
        _note(findings, path, "", said, "TOML 1.0", "correct that place")
    except RecursionError:
        _note(findings, path, "", "tables nested too deep", "TOML 1.0", "flatten it")
    except (ValueError, ArithmeticError):
        _note(findings, path, "", "a number too long to read", "TOML 1.0", "shorten it")
    return None


def _note(findings: list[Finding], path: Path, entry: str, found: str, expected: str, remedy: str) -> None:
    findings.append(
        Finding(level="error", file=path.name, entry=entry, found=found, expected=expected, remedy=remedy)
    )

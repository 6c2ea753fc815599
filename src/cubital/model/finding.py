"""One line of a lint: where, what was found, what was expected and what to do."""

from __future__ import annotations

from typing import Literal

import msgspec

from cubital.errors import one_line

LevelKey = Literal["error", "warning", "note"]


class Finding(msgspec.Struct, frozen=True, kw_only=True):
    """One fault of a site's files; an `error` stops the site, a `warning` stops only what needs it.

    >>> print(Finding(level="error", file="tubes.toml", entry="[k2-edta] sizes[0].draw_ml", found="4000",
    ...               expected="millilitres, at most 20", remedy="write 4.0"))
    tubes.toml [k2-edta] sizes[0].draw_ml: found 4000; expected millilitres, at most 20; write 4.0
    """

    level: LevelKey
    file: str
    entry: str
    found: str
    expected: str
    remedy: str

    def __post_init__(self) -> None:
        # It quotes what came from outside, and is shown on terminals and pages.
        for name in ("file", "entry", "found", "expected", "remedy"):
            text = getattr(self, name)
            if not text.isprintable():
                msgspec.structs.force_setattr(self, name, one_line(text))

    def __str__(self) -> str:
        where = f"{self.file} {self.entry}" if self.entry else self.file
        return f"{where}: found {self.found}; expected {self.expected}; {self.remedy}"

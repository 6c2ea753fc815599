"""Where text is put: the width, the characters and the emphasis that this terminal can show."""

from __future__ import annotations

import os
import re
import shutil
import textwrap
from collections.abc import Iterable
from typing import TextIO

import msgspec

LEAST_WIDTH, MOST_WIDTH = 60, 120
# A number and its unit stay on one line.
_NO_BREAK = "\xa0"
_UNIT = re.compile(r"(?<=[0-9]) (?=(?:mL|uL|min|h|d|C|g|kg|%|x)\b|%)")
_CODES = {"strong": "1", "faint": "2", "stop": "1;31", "warn": "1;33"}


class Glyphs(msgspec.Struct, frozen=True, kw_only=True):
    """The characters of a picture; every one of them says something of its own, without colour."""

    blood: str
    liquid: str
    gel: str
    waste: str
    top: tuple[str, str, str, str]
    side: tuple[str, str, str]
    bottom: tuple[str, str, str, str]
    rule: str
    used: str
    now: str
    free: str
    bullet: str


DRAWN = Glyphs(
    blood="▓", liquid="░", gel="▌", waste="╱",
    top=("┌", "─", "┬", "╮"), side=("│", "│", "│"), bottom=("└", "─", "┴", "╯"),
    rule="─", used="▒", now="█", free="·", bullet="·",
)  # fmt: skip
TYPED = Glyphs(
    blood="#", liquid="~", gel="=", waste="/",
    top=("+", "-", "+", "."), side=("|", "|", "|"), bottom=("+", "-", "+", "'"),
    rule="-", used="o", now="#", free=".", bullet="-",
)  # fmt: skip


class Sheet(msgspec.Struct, frozen=True, kw_only=True):
    """How to lay out: columns, characters, and whether emphasis is shown."""

    width: int = 80
    glyphs: Glyphs = DRAWN
    is_coloured: bool = False

    def mark(self, text: str, how: str) -> str:
        """The text with emphasis where this sheet shows any."""
        return f"\x1b[{_CODES[how]}m{text}\x1b[0m" if self.is_coloured and text else text

    def wrap(self, text: str, *, first: str = "", rest: str | None = None, width: int | None = None) -> list[str]:
        """The text on lines of this sheet, after `first` on the first and `rest` on the others."""
        hang = " " * len(first) if rest is None else rest
        lines = textwrap.wrap(
            _UNIT.sub(_NO_BREAK, text), width or self.width, initial_indent=first, subsequent_indent=hang,
            break_on_hyphens=False, break_long_words=True,
        )  # fmt: skip
        return [line.replace(_NO_BREAK, " ") for line in lines] or [first.rstrip()]

    def join(self, items: Iterable[str], *, first: str = "", width: int | None = None) -> list[str]:
        """Items in a row with a bullet between; no line where there are none."""
        text = f" {self.glyphs.bullet} ".join(items)
        return self.wrap(text, first=first, width=width) if text else []


def sheet_for(stream: TextIO, *, width: int | None = None) -> Sheet:
    """The sheet that this stream can show: colour only on a terminal without NO_COLOR."""
    is_terminal = stream.isatty()
    columns = width or (shutil.get_terminal_size((80, 24)).columns if is_terminal else 80)
    encoding = (getattr(stream, "encoding", None) or "ascii").casefold().replace("-", "").replace("_", "")
    return Sheet(
        width=max(LEAST_WIDTH, min(MOST_WIDTH, columns)),
        glyphs=DRAWN if encoding.startswith("utf") else TYPED,
        is_coloured=is_terminal and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb",
    )

"""The day's sheet: where record and trail ended when it was printed, on paper that no database owner rewrites."""

from __future__ import annotations

import msgspec

from cubital.facts.labels import PaperKey
from cubital.paper.flow import Block, Imprint, Section, column_width, print_sections
from cubital.paper.surface import INK, Corner, Surface, points_mm, readable, wrap

NAME_PT, HASH_PT, TEXT_PT = 12.0, 13.0, 9.0
GROUP, GROUPS_A_LINE = 8, 4
"""Sixty-four digits are read off in eight groups of eight."""


class DaySheet(msgspec.Struct, frozen=True, kw_only=True):
    """What stands on it: which database, when, and the end of each chain as its name, its number and its hash."""

    imprint: Imprint
    database: str
    moment: str
    ends: tuple[tuple[str, int, str], ...]


def print_day_sheet(sheet: DaySheet, paper: PaperKey) -> bytes:
    """The PDF of the sheet."""
    room = column_width(paper)
    told = (
        f"{sheet.database} at {sheet.moment}. Keep this sheet where nobody who can write to the database can "
        "change it. A later check of the record, told these heads, finds what was cut off or written anew before them."
    )
    blocks = [_words(told, room), *(_end(*end, room) for end in sheet.ends), _signature(room)]
    return print_sections([Section(sheet.imprint, blocks)], paper)


def _words(text: str, room: float) -> Block:
    lines = wrap(readable(text, field="database"), room, TEXT_PT)

    def draw(surface: Surface) -> None:
        for row, line in enumerate(lines):
            surface.text(0, 3.6 + row * points_mm(TEXT_PT), line, TEXT_PT)

    return Block(len(lines) * points_mm(TEXT_PT) + 6, draw)


def _end(name: str, sequence: int, hash: str, room: float) -> Block:
    groups = [hash[start : start + GROUP] for start in range(0, len(hash), GROUP)]
    rows = [" ".join(groups[start : start + GROUPS_A_LINE]) for start in range(0, len(groups), GROUPS_A_LINE)]
    height = 10 + len(rows) * points_mm(HASH_PT) + 4

    def draw(surface: Surface) -> None:
        surface.box(Corner(0, 0, room, height - 3), edge=INK)
        surface.text(3, 6, readable(f"{name}: {sequence}", field="head"), NAME_PT, bold=True)
        for row, line in enumerate(rows):
            surface.text(3, 13.5 + row * points_mm(HASH_PT), line, HASH_PT)

    return Block(height, draw)


def _signature(room: float) -> Block:
    def draw(surface: Surface) -> None:
        surface.line(0, 14, room * 0.6, 14)
        surface.text(0, 18, "who printed and kept it", TEXT_PT)

    return Block(20, draw)

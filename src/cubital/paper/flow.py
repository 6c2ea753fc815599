"""Blocks down a page and over to the next: each knows its height, and none is broken."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from typing import NamedTuple

import msgspec

from cubital.errors import PaperError
from cubital.facts.labels import PAPER_MM, PaperKey
from cubital.paper.surface import (
    FAINT,
    HAIR,
    INK,
    Corner,
    Document,
    Surface,
    fitted_pt,
    points_mm,
    readable,
    width_mm,
    wrap,
)

MARGIN, GUTTER = 12.0, 6.0
FOOT_PT = 6.6


class Block(NamedTuple):
    """Something of a known height; `draw` draws it on a surface whose corner is the block's own.

    `is_heading` keeps the block on the page of the one after it.
    """

    height: float
    draw: Callable[[Surface], None]
    is_heading: bool = False


class Imprint(msgspec.Struct, frozen=True, kw_only=True):
    """What every page says of itself: what it is, whose, from which facts, made when, and what to mind.

    `patient` says whose sheet it is on the pages after the first, which says it in full.
    """

    title: str
    site: str
    edition: str
    on: date
    cautions: tuple[str, ...]
    detail: str = ""
    patient: str = ""


class Section(NamedTuple):
    """Blocks under one imprint, in columns; its pages are numbered by themselves. `lead` stands across its top."""

    imprint: Imprint
    blocks: Sequence[Block]
    columns: int = 1
    lead: Block | None = None


def print_sections(sections: Sequence[Section], paper: PaperKey) -> bytes:
    """The PDF of these sections, each beginning on a page of its own."""
    first = sections[0].imprint
    document = Document(title=first.title, subject=f"{first.site}; facts {first.edition}; {first.on}")
    for section in sections:
        _print_section(document, section, paper)
    return document.finish()


def _print_section(document: Document, section: Section, paper: PaperKey) -> None:
    width, height = (float(side) for side in PAPER_MM[paper])
    foot = _foot_lines(section.imprint, width - 2 * MARGIN)
    top, bottom = _top(section.imprint), height - MARGIN - len(foot) * points_mm(FOOT_PT) - 2.5
    starts = [top + (section.lead.height if section.lead else 0), top]
    pages = paginate(section.blocks, [bottom - start for start in starts], section.columns)
    step = column_width(paper, section.columns) + GUTTER
    for number, page in enumerate(pages, start=1):
        surface = document.page(width, height)
        _draw_head(surface, section.imprint, width, number, len(pages))
        _draw_foot(surface, foot, height)
        if number == 1 and section.lead is not None:
            section.lead.draw(surface.at(MARGIN, top))
        for place, column in enumerate(page):
            y = starts[min(number - 1, 1)]
            for block in column:
                block.draw(surface.at(MARGIN + place * step, y))
                y += block.height


def room_down(imprint: Imprint, paper: PaperKey) -> float:
    """How much height a page has for blocks, in millimetres."""
    lines = len(_foot_lines(imprint, column_width(paper)))
    return float(PAPER_MM[paper][1]) - MARGIN - lines * points_mm(FOOT_PT) - 2.5 - _top(imprint)


def _top(imprint: Imprint) -> float:
    return MARGIN + 17.0 + (5.0 if imprint.detail else 0)


def column_width(paper: PaperKey, columns: int = 1) -> float:
    """How wide one column of a page is, in millimetres."""
    return (float(PAPER_MM[paper][0]) - 2 * MARGIN - GUTTER * (columns - 1)) / columns


def paginate(blocks: Sequence[Block], rooms: Sequence[float], columns: int) -> list[list[list[Block]]]:
    """The blocks by page and column; `rooms` are the heights of the first page and of the others."""
    pages: list[list[list[Block]]] = [[[]]]
    left = rooms[0]
    for place, block in enumerate(blocks):
        needs = block.height
        if block.is_heading and place + 1 < len(blocks):
            needs += blocks[place + 1].height
        if needs > left and pages[-1][-1]:
            if len(pages[-1]) < columns:
                pages[-1].append([])
            else:
                pages.append([[]])
            left = rooms[min(len(pages) - 1, len(rooms) - 1)]
        if block.height > left:
            raise PaperError(
                f"found one part {block.height:.0f} mm high; expected at most {left:.0f} mm, a page; "
                "order less at once",
                where="page",
            )
        pages[-1][-1].append(block)
        left -= block.height
    return pages


def _foot_lines(imprint: Imprint, room: float) -> list[str]:
    return wrap(" ".join(imprint.cautions), room, FOOT_PT)


def _draw_head(surface: Surface, imprint: Imprint, width: float, number: int, count: int) -> None:
    right = width - MARGIN
    surface.box(Corner(MARGIN, MARGIN - 3.2, width - 2 * MARGIN, 1.3), fill=INK)
    surface.text(MARGIN, MARGIN + 6.2, imprint.title, 19, bold=True)
    surface.text(MARGIN, MARGIN + 11.6, readable(imprint.site, field="site"), 10)
    pages = f"page {number} of {count}"
    surface.text(right, MARGIN + 6.2, pages, 10, bold=True, align="right")
    printed = f"printed {imprint.on}, facts of {imprint.edition}"
    surface.text(right, MARGIN + 11.6, printed, 8.5, align="right", colour=FAINT)
    if imprint.detail:
        surface.text(MARGIN, MARGIN + 16.2, readable(imprint.detail, field="setting"), 8.5, colour=FAINT)
    if imprint.patient and number > 1:
        text = readable(imprint.patient, field="name")
        left = MARGIN + width_mm(imprint.title, 19, bold=True) + 8
        room = right - width_mm(pages, 10, bold=True) - 4 - left
        size_pt = fitted_pt(text, room, most_pt=12, least_pt=6, field="name", where="sheet", bold=True)
        surface.text(left, MARGIN + 6.2, text, size_pt, bold=True)


def _draw_foot(surface: Surface, lines: list[str], height: float) -> None:
    y = height - MARGIN - len(lines) * points_mm(FOOT_PT)
    surface.line(MARGIN, y, MARGIN + 40, y, line_mm=0.2, colour=HAIR)
    for line in lines:
        y += points_mm(FOOT_PT)
        surface.text(MARGIN, y, line, FOOT_PT, colour=FAINT)

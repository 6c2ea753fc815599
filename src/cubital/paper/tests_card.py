"""The wall card of tests: which tube each one goes into here, the first choice first, and how to treat it."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from cubital.facts.labels import PaperKey
from cubital.paper.flow import Block, Imprint, Section, column_width
from cubital.paper.ink import draw_weave
from cubital.paper.surface import (
    CAPITAL,
    FAINT,
    HAIR,
    POINTS_PER_MM,
    Corner,
    Surface,
    fitted_pt,
    points_mm,
    readable,
    wrap,
)
from cubital.paper.tube import draw_cap

CAP_MM, CAP_HIGH_MM, CAP_GAP_MM, COLLAR_MM = 6.8, 4.4, 0.8, 2.2
MOST_CAPS, COLUMNS, LEGEND_COLUMNS = 5, 2, 3
NAME_PT, TOLD_PT, LETTER_PT = 8.6, 7.0, 15.0


class CardCap(msgspec.Struct, frozen=True, kw_only=True):
    """A tube kind by its cap: letters, stopper words, name, and the family of its additive."""

    mark: str
    family: str
    stopper: str | None
    name: str


class TestLine(msgspec.Struct, frozen=True, kw_only=True):
    """One test: its name, the caps it may go into, the first choice first, and what else to know."""

    __test__ = False  # pytest: a laboratory test, not one of ours

    name: str
    caps: tuple[CardCap, ...]
    told: str


class TestCard(msgspec.Struct, frozen=True, kw_only=True):
    """Every test of a site by name, and the caps that stand for its tubes."""

    __test__ = False

    imprint: Imprint
    lines: tuple[TestLine, ...]
    legend: tuple[CardCap, ...]


def lay_test_card(card: TestCard, paper: PaperKey) -> Section:
    """The card in two columns under its legend."""
    room = column_width(paper, COLUMNS)
    blocks: list[Block] = []
    initial = ""
    for line in card.lines:
        if line.name[:1].upper() != initial:
            initial = line.name[:1].upper()
            blocks.append(_letter_block(initial, room))
        blocks.append(_line_block(line, room))
    return Section(card.imprint, blocks, columns=COLUMNS, lead=_legend_block(card.legend, column_width(paper)))


def _letter_block(letter: str, room: float) -> Block:
    def draw(surface: Surface) -> None:
        surface.text(0, 6.4, letter, LETTER_PT, bold=True)
        surface.line(0, 7.6, room, 7.6, line_mm=0.5)

    return Block(8.2, draw, is_heading=True)


def _line_block(line: TestLine, room: float) -> Block:
    shown = line.caps[:MOST_CAPS]
    more = "".join(f"; also {cap.mark}" for cap in line.caps[MOST_CAPS:])
    caps_mm = MOST_CAPS * (CAP_MM + CAP_GAP_MM)
    names = wrap(readable(line.name, field="test"), room - caps_mm - 1, NAME_PT, bold=True)
    told = wrap(readable(line.told + more, field="test"), room - (caps_mm if len(names) == 1 else 0) - 1, TOLD_PT)
    text_mm = len(names) * points_mm(NAME_PT) + len(told) * points_mm(TOLD_PT)
    height = max(CAP_HIGH_MM + 1.8, text_mm + 1.4)

    def draw(surface: Surface) -> None:
        y = 0.3
        for text in names:
            y += points_mm(NAME_PT)
            surface.text(0, y, text, NAME_PT, bold=True)
        for text in told:
            y += points_mm(TOLD_PT)
            surface.text(0, y, text, TOLD_PT, colour=FAINT)
        x = room - caps_mm
        for cap in shown:
            draw_cap(surface, Corner(x, 0.9, CAP_MM, CAP_HIGH_MM), cap.mark, cap.stopper)
            x += CAP_MM + CAP_GAP_MM
        surface.line(0, height, room, height, line_mm=0.1, colour=HAIR)

    return Block(height, draw)


def _legend_block(caps: Sequence[CardCap], room: float) -> Block:
    """What each cap is, with the collar of its additive, down three columns."""
    column_mm = room / LEGEND_COLUMNS
    text_x = CAP_MM + COLLAR_MM + 2
    per_column = -(-len(caps) // LEGEND_COLUMNS)
    row_mm = CAP_HIGH_MM + 1.4
    sizes = [
        fitted_pt(
            readable(cap.name, field="tube"),
            column_mm - text_x - 2,
            most_pt=NAME_PT,
            least_pt=5,
            field="tube",
            where="card",
        )
        for cap in caps
    ]

    def draw(surface: Surface) -> None:
        for place, (cap, size_pt) in enumerate(zip(caps, sizes, strict=True)):
            column, row = divmod(place, per_column)
            corner = Corner(column * column_mm, row * row_mm, CAP_MM, CAP_HIGH_MM)
            draw_weave(surface, Corner(corner.right, corner.y + 0.4, COLLAR_MM, CAP_HIGH_MM - 0.8), cap.family)
            draw_cap(surface, corner, cap.mark, cap.stopper)
            baseline = corner.y + CAP_HIGH_MM / 2 + size_pt * CAPITAL / POINTS_PER_MM / 2
            surface.text(corner.x + text_x, baseline, cap.name, size_pt)
        surface.line(0, per_column * row_mm + 1, room, per_column * row_mm + 1, line_mm=0.3)

    return Block(per_column * row_mm + 3, draw)

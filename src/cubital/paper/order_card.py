"""The wall card of the order of draw: this site's tubes, step by step, as they look, with letters and turns."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from cubital.facts.labels import PaperKey
from cubital.paper.flow import Block, Imprint, Section, column_width, room_down
from cubital.paper.surface import (
    CAPITAL,
    FAINT,
    INK,
    POINTS_PER_MM,
    WHITE,
    Corner,
    Surface,
    fitted_pt,
    points_mm,
    readable,
    wrap,
)
from cubital.paper.tube import TubePicture, draw_tube

SPINE_MM, PICTURE_MM, TURNS_MM = 13.0, 38.0, 22.0
LEAST_ROW_MM, MOST_ROW_MM, HEAD_MM, GAP_MM = 8.4, 15.0, 5.6, 1.6
NAME_PT, TEXT_PT = 12.0, 8.5


class CardTube(msgspec.Struct, frozen=True, kw_only=True):
    """One kind of the card; `inversions` None where nothing is known, `remark` what else to know."""

    picture: TubePicture
    name: str
    additive: str
    letters: str
    stopper: str | None
    inversions: int | None
    remark: str = ""


class CardStep(msgspec.Struct, frozen=True, kw_only=True):
    """One step of the order: its number, what it is, what it rests on, and its kinds, the first one first."""

    number: int
    name: str
    rests_on: str
    tubes: tuple[CardTube, ...]


class OrderCard(msgspec.Struct, frozen=True, kw_only=True):
    """The order of draw by one way of access; `unplaced` are kinds that nobody has put in order."""

    imprint: Imprint
    steps: tuple[CardStep, ...]
    unplaced: tuple[str, ...] = ()


def lay_order_card(card: OrderCard, paper: PaperKey) -> Section:
    """The card, on one page where it can be."""
    room = column_width(paper)
    unplaced = [_unplaced_block(card.unplaced, room)] if card.unplaced else []
    rows = sum(len(step.tubes) for step in card.steps)
    free = room_down(card.imprint, paper) - sum(block.height for block in unplaced)
    free -= len(card.steps) * (HEAD_MM + GAP_MM)
    row_mm = min(MOST_ROW_MM, max(LEAST_ROW_MM, free / max(1, rows) - 0.01))
    blocks = [_step_block(step, room, row_mm) for step in card.steps]
    return Section(card.imprint, [*blocks, *unplaced])


def _step_block(step: CardStep, room: float, row_mm: float) -> Block:
    height = HEAD_MM + row_mm * len(step.tubes)

    def draw(surface: Surface) -> None:
        surface.box(Corner(0, 0, SPINE_MM - 3, height), fill=INK)
        surface.text(
            (SPINE_MM - 3) / 2, 8.4 if height > 12 else height / 2 + 3, str(step.number), 22, bold=True,
            align="middle", colour=WHITE,
        )  # fmt: skip
        surface.line(SPINE_MM - 3, HEAD_MM - 0.6, room, HEAD_MM - 0.6, line_mm=0.4)
        rests = readable(step.rests_on, field="basis")
        surface.text(room - 2, 3.6, rests, 7, align="right", colour=FAINT)
        name = readable(step.name, field="step")
        size_pt = fitted_pt(name, room - SPINE_MM - 60, most_pt=10, least_pt=5, field="step", where="card", bold=True)
        surface.text(SPINE_MM, 3.7, name, size_pt, bold=True)
        for place, tube in enumerate(step.tubes):
            _draw_row(surface.at(SPINE_MM, HEAD_MM + place * row_mm), tube, room - SPINE_MM, row_mm)

    return Block(height + GAP_MM, draw)


def _draw_row(surface: Surface, tube: CardTube, room: float, row_mm: float) -> None:
    scale = row_mm / 10.5
    high = row_mm * 0.78
    draw_tube(surface, Corner(0, (row_mm - high) / 2 - 0.3, PICTURE_MM, high), tube.picture)
    text_x = PICTURE_MM + 4
    text_mm = room - text_x - TURNS_MM * scale
    name = readable(tube.name, field="tube")
    name_pt = fitted_pt(name, text_mm, most_pt=NAME_PT * scale, least_pt=6, field="tube", where="card", bold=True)
    middle = row_mm / 2
    surface.text(text_x, middle - 0.7 * scale, name, name_pt, bold=True)
    letters = f" [{tube.letters}]" if tube.letters else ""
    stopper = f"; {tube.stopper}" if tube.stopper else ""
    remark = f"; {tube.remark}" if tube.remark else ""
    told = readable(f"{tube.additive}{letters}{stopper}{remark}", field="tube")
    told_pt = fitted_pt(told, text_mm, most_pt=TEXT_PT * scale, least_pt=5, field="tube", where="card")
    surface.text(text_x, middle + 3.2 * scale, told, told_pt)
    if tube.inversions is not None:
        _draw_turns(surface, room - 1, middle, tube.inversions, scale)


def _draw_turns(surface: Surface, right: float, middle: float, inversions: int, scale: float) -> None:
    words = "invert" if inversions else "do not invert"
    if inversions:
        size_pt = 15 * scale
        baseline = middle + size_pt * CAPITAL / POINTS_PER_MM / 2
        surface.text(right, baseline, f"{inversions}×", size_pt, bold=True, align="right")
        surface.text(right - 8.2 * scale, baseline, words, TEXT_PT * scale, align="right", colour=FAINT)
    else:
        surface.text(right, middle + 1, words, TEXT_PT * scale, align="right", colour=FAINT)


def _unplaced_block(kinds: Sequence[str], room: float) -> Block:
    text = f"No place in this order: {', '.join(kinds)}. Ask before drawing one of them with others."
    lines = wrap(readable(text, field="tube"), room - 6, 9, bold=True)
    height = len(lines) * points_mm(9) + 3

    def draw(surface: Surface) -> None:
        surface.box(Corner(0, 0, room, height), edge=INK, line_mm=0.5)
        for row, line in enumerate(lines):
            surface.text(3, 4.6 + row * points_mm(9), line, 9, bold=True)

    return Block(height + 2, draw)

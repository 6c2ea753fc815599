"""The blood of a draw against the patient's limit: a graduated tube whose whole length is the limit."""

from __future__ import annotations

import msgspec

from cubital.paper.flow import Block
from cubital.paper.surface import FAINT, INK, WHITE, Corner, Surface, points_mm, readable, wrap
from cubital.paper.tube import BLOOD

BAR_MM, TENTHS = 7.0, 10
HEAD_PT, TEXT_PT = 13.0, 9.0


class BloodGauge(msgspec.Struct, frozen=True, kw_only=True):
    """How a draw stands against the limit, in whole microlitres: drawn before, this draw, and the limit."""

    drawn_ul: int
    this_ul: int
    limit_ul: int


def gauge_block(headline: str, words: str, gauge: BloodGauge | None, room: float) -> Block:
    """What is drawn in words, and the gauge where a limit is known."""
    head = wrap(readable(headline, field="headline"), room, HEAD_PT, bold=True)
    said = wrap(readable(words, field="blood"), room, TEXT_PT)
    top = len(head) * points_mm(HEAD_PT) + 1.5
    bar = BAR_MM + 6.6 if gauge is not None else 0.0
    height = top + bar + len(said) * points_mm(TEXT_PT) + 3.6

    def draw(surface: Surface) -> None:
        for row, line in enumerate(head):
            surface.text(0, (row + 1) * points_mm(HEAD_PT) - 0.8, line, HEAD_PT, bold=True)
        if gauge is not None:
            _draw_bar(surface.at(0, top + 0.6), gauge, room)
        for row, line in enumerate(said):
            surface.text(0, top + bar + (row + 1) * points_mm(TEXT_PT) - 0.5, line, TEXT_PT)

    return Block(height, draw)


def _draw_bar(surface: Surface, gauge: BloodGauge, room: float) -> None:
    """Drawn before is hatched, this draw is solid; neither looks shorter than it is."""
    limit = max(1, gauge.limit_ul)
    body = Corner(0, 0, room, BAR_MM)
    before = room * min(1.0, gauge.drawn_ul / limit)
    this = room * min(1.0, (gauge.drawn_ul + gauge.this_ul) / limit) - before
    surface.box(body, fill=WHITE, radius_mm=BAR_MM / 2)
    with surface.clipped(body, radius_mm=BAR_MM / 2):
        surface.box(Corner(before, 0, max(this, 0.8), BAR_MM), fill=BLOOD)
        surface.line(before + this, 0, before + this, BAR_MM, line_mm=0.6)
        x = -BAR_MM
        with surface.clipped(Corner(0, 0, max(before, 0.01), BAR_MM)):
            while x < before:
                surface.line(x, BAR_MM, x + BAR_MM, 0, line_mm=0.3)
                x += 1.6
    surface.box(body, edge=INK, line_mm=0.4, radius_mm=BAR_MM / 2)
    for tenth in range(1, TENTHS):
        x = room * tenth / TENTHS
        surface.line(x, BAR_MM, x, BAR_MM - (2.6 if tenth == TENTHS // 2 else 1.5), line_mm=0.25)
    percent = -(-100 * (gauge.drawn_ul + gauge.this_ul) // limit)
    surface.text(0, BAR_MM + 4.4, f"{percent} % of the limit", TEXT_PT, bold=True)
    key = "hatched: drawn before; solid: this draw; whole length: the limit"
    surface.text(room, BAR_MM + 4.4, key if gauge.drawn_ul else key.split("; ", 1)[1], 8, align="right", colour=FAINT)

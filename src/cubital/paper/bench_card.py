"""The wall card of the bench: what each tube goes through after the draw, what is special, and how long it keeps."""

from __future__ import annotations

import msgspec

from cubital.facts.labels import PaperKey
from cubital.paper.flow import Block, Imprint, Section, column_width
from cubital.paper.surface import FAINT, HAIR, INK, PALE, WHITE, Corner, Surface, points_mm, readable, wrap
from cubital.paper.tests_card import CardCap
from cubital.paper.tube import draw_cap

CAP_MM, CAP_HIGH_MM, NAME_MM, STEP_GAP_MM = 9.0, 6.4, 46.0, 4.0
NAME_PT, TEXT_PT, SMALL_PT, HEAD_PT = 9.5, 8.4, 7.4, 13.0
KEEP_COLUMNS = 2


class BenchStep(msgspec.Struct, frozen=True, kw_only=True):
    """One thing to do with a tube: the verb, and how; `is_instead` where it is not done after the one before it."""

    verb: str
    how: str
    is_ban: bool = False
    is_instead: bool = False


class BenchRow(msgspec.Struct, frozen=True, kw_only=True):
    """What one kind goes through, in order."""

    cap: CardCap
    steps: tuple[BenchStep, ...]


class CareLine(msgspec.Struct, frozen=True, kw_only=True):
    """An instruction and the tests that it is for."""

    instruction: str
    tests: str


class KeepLine(msgspec.Struct, frozen=True, kw_only=True):
    """How long a test's specimen keeps, in words: until it is off the cells, warm, cold and frozen after that."""

    test: str
    separate: str
    ambient: str
    cold: str
    frozen: str


class BenchCard(msgspec.Struct, frozen=True, kw_only=True):
    """Everything the bench does at this site; `keep_note` says what the times rest on."""

    imprint: Imprint
    rows: tuple[BenchRow, ...]
    care: tuple[CareLine, ...]
    keep_imprint: Imprint
    keep: tuple[KeepLine, ...]


def lay_bench_card(card: BenchCard, paper: PaperKey) -> tuple[Section, Section]:
    """The card of what is done, and the card of how long things keep."""
    room = column_width(paper)
    blocks = [_row_block(row, room) for row in card.rows]
    if card.care:
        blocks.append(_head_block("Special care, at the chair and at the bench", room))
        blocks += [_care_block(line, room) for line in card.care]
    column = column_width(paper, KEEP_COLUMNS)
    keep = [_keep_block(line, column) for line in card.keep]
    return (
        Section(card.imprint, blocks),
        Section(card.keep_imprint, keep, columns=KEEP_COLUMNS, lead=_keep_head(column_width(paper), column)),
    )


def _row_block(row: BenchRow, room: float) -> Block:
    """The cap and its name, then the steps as boxes that point to the next."""
    names = wrap(readable(row.cap.name, field="tube"), NAME_MM - CAP_MM - 4, NAME_PT, bold=True)
    width = (room - NAME_MM - STEP_GAP_MM * (len(row.steps) - 1)) / max(1, len(row.steps))
    told = [wrap(readable(step.how, field="step"), width - 4, TEXT_PT) for step in row.steps]
    lines = max([1, *(len(lines) for lines in told)])
    high = max(9.0, 4.6 + lines * points_mm(TEXT_PT) + 1.2, len(names) * points_mm(NAME_PT) + 2)

    def draw(surface: Surface) -> None:
        draw_cap(surface, Corner(0, (high - CAP_HIGH_MM) / 2, CAP_MM, CAP_HIGH_MM), row.cap.mark, row.cap.stopper)
        y = high / 2 - (len(names) / 2 - 0.78) * points_mm(NAME_PT)
        for number, text in enumerate(names):
            surface.text(CAP_MM + 2.5, y + number * points_mm(NAME_PT), text, NAME_PT, bold=True)
        for place, (step, how) in enumerate(zip(row.steps, told, strict=True)):
            corner = Corner(NAME_MM + place * (width + STEP_GAP_MM), 0, width, high)
            _draw_step(surface, corner, step, how, is_first=place == 0)

    return Block(high + 1.8, draw)


def _draw_step(surface: Surface, corner: Corner, step: BenchStep, how: list[str], *, is_first: bool) -> None:
    surface.box(corner, fill=PALE if step.is_ban else WHITE, edge=INK, line_mm=0.5 if step.is_ban else 0.3)
    surface.text(corner.x + 2, 4.0, step.verb, TEXT_PT, bold=True)
    for number, text in enumerate(how, start=1):
        surface.text(corner.x + 2, 4.0 + number * points_mm(TEXT_PT), text, TEXT_PT)
    middle = corner.height / 2
    if step.is_instead:
        surface.text(corner.x - STEP_GAP_MM / 2, middle + 1, "or", TEXT_PT, align="middle")
    elif not is_first:
        x = corner.x - STEP_GAP_MM + 0.8
        surface.shape([(x, middle - 1.6), (x + 2, middle), (x, middle + 1.6)], fill=INK)


def _head_block(text: str, room: float) -> Block:
    def draw(surface: Surface) -> None:
        surface.text(0, 7.2, text, HEAD_PT, bold=True)
        surface.line(0, 8.8, room, 8.8, line_mm=0.5)

    return Block(10.2, draw, is_heading=True)


def _care_block(line: CareLine, room: float) -> Block:
    left_mm = 62.0
    told = wrap(readable(line.instruction, field="care"), left_mm - 3, TEXT_PT, bold=True)
    tests = wrap(readable(line.tests, field="test"), room - left_mm, TEXT_PT)
    height = max(len(told), len(tests)) * points_mm(TEXT_PT) + 1.6

    def draw(surface: Surface) -> None:
        for number, text in enumerate(told, start=1):
            surface.text(0, number * points_mm(TEXT_PT) - 0.3, text, TEXT_PT, bold=True)
        for number, text in enumerate(tests, start=1):
            surface.text(left_mm, number * points_mm(TEXT_PT) - 0.3, text, TEXT_PT)
        surface.line(0, height, room, height, line_mm=0.1, colour=HAIR)

    return Block(height, draw)


_SHARES = (0.46, 0.64, 0.78, 0.90)


def _keep_head(room: float, column: float) -> Block:
    """The heads of the table, over both columns."""

    def draw(surface: Surface) -> None:
        for start in (0.0, room - column):
            for text, share in zip(("off the cells in", "20-25 C", "2-8 C", "-20 C"), _SHARES, strict=True):
                surface.text(start + column * share, 3.4, text, SMALL_PT, bold=True)
            surface.text(start, 3.4, "test", SMALL_PT, bold=True)
            surface.line(start, 4.8, start + column, 4.8, line_mm=0.5)

    return Block(5.6, draw)


def _keep_block(line: KeepLine, column: float) -> Block:
    names = wrap(readable(line.test, field="test"), column * _SHARES[0] - 2, SMALL_PT, bold=True)
    height = len(names) * points_mm(SMALL_PT) + 0.9

    def draw(surface: Surface) -> None:
        for number, text in enumerate(names, start=1):
            surface.text(0, number * points_mm(SMALL_PT) - 0.2, text, SMALL_PT, bold=True)
        for text, share in zip((line.separate, line.ambient, line.cold, line.frozen), _SHARES, strict=True):
            is_known = text != "?"
            surface.text(column * share, points_mm(SMALL_PT) - 0.2, text, SMALL_PT, colour=INK if is_known else FAINT)
        surface.line(0, height, column, height, line_mm=0.1, colour=HAIR)

    return Block(height, draw)

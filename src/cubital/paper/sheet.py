"""The collector's sheet: one patient, one plan, in order; what to check, take, fill, turn and write down."""

from __future__ import annotations

import msgspec

from cubital.facts.labels import PaperKey
from cubital.model.identity import Collection, Identity
from cubital.paper.flow import Block, Imprint, Section, column_width, print_sections
from cubital.paper.gauge import BloodGauge, gauge_block
from cubital.paper.surface import (
    CAPITAL,
    FAINT,
    HAIR,
    INK,
    POINTS_PER_MM,
    WHITE,
    Corner,
    Surface,
    fitted_pt,
    points_mm,
    readable,
    width_mm,
    wrap,
)
from cubital.paper.tube import TubePicture, draw_tube, length_mm

TEXT_PT, NAME_PT, SMALL_PT = 9.0, 11.5, 8.0
NUMBER_MM, PICTURE_MM, TICK_MM, GAP_MM = 11.0, 52.0, 34.0, 4.0
TUBE_MM, LEAST_ROW_MM = 11.0, 28.0
SIDE_MM = 3.2
FLAG_MM, ANSWER_MM = 19.0, 46.0
# The flags of what is known and done before a draw; any other is shown as `WHEN` is.
WHEN, ASK, DO = "when", "ask", "do first"
MOST_TALLY = 12


class SheetTube(msgspec.Struct, frozen=True, kw_only=True):
    """One tube of the sheet, in words; `inversions` None where nothing is known."""

    position: int
    purpose: str
    picture: TubePicture
    name: str
    additive: str
    letters: str
    stopper: str | None
    volume: str
    inversions: int | None
    contents: tuple[str, ...]
    care: tuple[str, ...]
    specimen: str | None = None
    is_stat: bool = False
    is_returned: bool = False


class SheetDraw(msgspec.Struct, frozen=True, kw_only=True):
    """The tubes of one collection; `title` is empty where there is one only.

    `before` is what must be known and done before the first tube, each with its flag; what is asked has a line to write
    the answer on, and what is done a box to tick.
    """

    title: str
    tubes: tuple[SheetTube, ...]
    before: tuple[tuple[str, str], ...] = ()


class CollectorSheet(msgspec.Struct, frozen=True, kw_only=True):
    """Everything on the sheet of one plan, gravest first; `collection` None leaves lines to write on."""

    imprint: Imprint
    headline: str
    patient: str
    collection: Collection | None
    stops: tuple[str, ...]
    left_out: tuple[str, ...]
    instead: tuple[str, ...]
    warnings: tuple[str, ...]
    draws: tuple[SheetDraw, ...]
    blood: str
    gauge: BloodGauge | None
    notes: tuple[str, ...]
    proof: tuple[str, ...]


def print_sheet(sheet: CollectorSheet, paper: PaperKey) -> bytes:
    """The PDF of this sheet."""
    room = column_width(paper)
    blocks = [_identity_block(sheet, room)]
    blocks += [_alert_block(text, "STOP", room, is_grave=True) for text in sheet.stops]
    blocks += [_alert_block(text, "LEFT OUT", room, is_grave=True) for text in sheet.left_out]
    blocks += [_alert_block(text, "OR", room, is_grave=False) for text in sheet.instead]
    blocks += [_alert_block(text, "WATCH", room, is_grave=False) for text in sheet.warnings]
    blocks.append(gauge_block(sheet.headline, sheet.blood, sheet.gauge, room))
    for draw in sheet.draws:
        blocks += [_head_block(draw, room)] if draw.title or draw.before else []
        blocks += [_tube_block(tube, room) for tube in draw.tubes]
    blocks += _note_blocks(sheet, room)
    return print_sections([Section(sheet.imprint, blocks)], paper)


def _identity_block(sheet: CollectorSheet, room: float) -> Block:
    """Who it is, or lines to write it on, and the boxes of the check at the patient's side."""
    checks_mm = 70.0
    height = 24.0

    def draw(surface: Surface) -> None:
        surface.box(Corner(0, 0, room, height - 3), edge=INK, line_mm=0.4)
        surface.line(room - checks_mm, 0, room - checks_mm, height - 3, line_mm=0.4)
        if sheet.collection is None:
            _draw_lines_to_write_on(surface, room - checks_mm, sheet.patient)
        else:
            _draw_identity(surface, sheet.collection.identity, sheet.patient, room - checks_mm)
        for row, text in enumerate(
            (
                "the patient says the full name",
                "the patient says the birth date",
                "both agree with request and wristband",
            )
        ):
            _draw_tick(surface, room - checks_mm + 3, 3.2 + 5.6 * row, text, TEXT_PT)

    return Block(height, draw)


def _draw_identity(surface: Surface, identity: Identity, patient: str, room: float) -> None:
    name = readable(identity.name, field="name")
    size_pt = fitted_pt(name, room - 6, most_pt=17, least_pt=9, field="name", where="sheet", bold=True)
    surface.text(3, 7.4, name, size_pt, bold=True)
    numbers = [readable(identity.number, field="number"), f"born {identity.birth_date.isoformat()}"]
    if identity.second_number is not None:
        numbers.append(readable(identity.second_number, field="second_number"))
    text = "    ".join(numbers)
    size_pt = fitted_pt(text, room - 6, most_pt=12, least_pt=7, field="number", where="sheet", bold=True)
    surface.text(3, 13.2, text, size_pt, bold=True)
    told = f"INVENTED, no real person; {patient}" if identity.is_invented else patient
    size_pt = fitted_pt(told, room - 6, most_pt=SMALL_PT, least_pt=5, field="patient", where="sheet")
    surface.text(3, 18.4, told, size_pt, colour=FAINT)


def _draw_lines_to_write_on(surface: Surface, room: float, patient: str) -> None:
    for row, (text, share) in enumerate((("name", 1.0), ("number", 0.5))):
        y = 7.0 + 6.4 * row
        surface.text(3, y, text, SMALL_PT, colour=FAINT)
        surface.line(16, y + 0.4, 3 + (room - 6) * share, y + 0.4, colour=INK)
    surface.text(6 + (room - 6) * 0.5, 13.4, "born", SMALL_PT, colour=FAINT)
    surface.line(15 + (room - 6) * 0.5, 13.8, room - 3, 13.8, colour=INK)
    size_pt = fitted_pt(patient, room - 6, most_pt=SMALL_PT, least_pt=5, field="patient", where="sheet")
    surface.text(3, 18.6, patient, size_pt, colour=FAINT)


def _alert_block(text: str, flag: str, room: float, *, is_grave: bool) -> Block:
    flag_mm = FLAG_MM
    lines = wrap(readable(text, field="caution"), room - flag_mm - 6, TEXT_PT, bold=is_grave)
    high = max(6.4, len(lines) * points_mm(TEXT_PT) + 2.4)

    def draw(surface: Surface) -> None:
        surface.box(Corner(0, 0, flag_mm, high), fill=INK if is_grave else WHITE, edge=INK, line_mm=0.4)
        surface.text(flag_mm / 2, 4.4, flag, TEXT_PT, bold=True, align="middle", colour=WHITE if is_grave else INK)
        surface.box(Corner(flag_mm, 0, room - flag_mm, high), edge=INK, line_mm=0.4)
        for row, line in enumerate(lines):
            surface.text(flag_mm + 3, 4.4 + row * points_mm(TEXT_PT), line, TEXT_PT, bold=is_grave)

    return Block(high + 1.6, draw)


def _head_block(draw: SheetDraw, room: float) -> Block:
    """Which draw it is, and row by row what must be known and done before its first tube."""
    rows = [_title_block(draw.title, room)] if draw.title else []
    rows += [_before_block(flag, text, room) for flag, text in draw.before]
    above = 1.5

    def paint(surface: Surface) -> None:
        y = above
        for row in rows:
            row.draw(surface.at(0, y))
            y += row.height

    return Block(above + sum(row.height for row in rows) + 1.6, paint, is_heading=True)


def _title_block(title: str, room: float) -> Block:
    taken = "taken at  ____ : ____"
    lines = wrap(readable(title, field="draw"), room - width_mm(taken, TEXT_PT) - 10, NAME_PT, bold=True)
    high = 6.6 + (len(lines) - 1) * points_mm(NAME_PT)

    def draw(surface: Surface) -> None:
        surface.box(Corner(0, 0, room, high), edge=INK, line_mm=0.6)
        for row, line in enumerate(lines):
            surface.text(3, 4.6 + row * points_mm(NAME_PT), line, NAME_PT, bold=True)
        surface.text(room - 3, 4.6, taken, TEXT_PT, align="right")

    return Block(high, draw)


def _before_block(flag: str, text: str, room: float) -> Block:
    """One row: its flag, its text large, and a line to write on or a box to tick at the right."""
    text_x = FLAG_MM + 3
    right = ANSWER_MM if flag == ASK else TICK_MM if flag == DO else 0.0
    size_pt = SMALL_PT + 0.6 if flag == WHEN else NAME_PT
    is_bold = flag != WHEN
    lines = wrap(readable(text, field="draw"), room - text_x - right - 3, size_pt, bold=is_bold)
    step = points_mm(size_pt)
    high = max(6.0, len(lines) * step + 1.6)

    def draw(surface: Surface) -> None:
        surface.box(Corner(0, 0, FLAG_MM, high), fill=INK if flag == DO else WHITE, edge=INK, line_mm=0.35)
        surface.text(FLAG_MM / 2, 4.2, flag.upper(), TEXT_PT, bold=True, align="middle",
                     colour=WHITE if flag == DO else INK)  # fmt: skip
        surface.box(Corner(FLAG_MM, 0, room - FLAG_MM, high), edge=INK, line_mm=0.6 if flag == DO else 0.25)
        for row, line in enumerate(lines):
            surface.text(text_x, 1.0 + (row + 1) * step - 0.8, line, size_pt, bold=is_bold)
        if flag == ASK:
            surface.line(room - ANSWER_MM, high - 1.6, room - 3, high - 1.6)
        elif flag == DO:
            _draw_tick(surface, room - TICK_MM, 1.4, "done", TEXT_PT)

    return Block(high, draw)


def _tube_block(tube: SheetTube, room: float) -> Block:
    """The number, the tube as it will look, what it is and is for, and what to tick."""
    text_x = NUMBER_MM + PICTURE_MM + GAP_MM
    text_mm = room - text_x - TICK_MM - GAP_MM
    lines = _words(tube, text_mm)
    height = max(LEAST_ROW_MM, sum(points_mm(size) for _, size, _ in lines) + 6.0)

    def draw(surface: Surface) -> None:
        surface.line(0, 0, room, 0, colour=HAIR)
        surface.text(NUMBER_MM - 3, 14.2, str(tube.position), 26, bold=True, align="right")
        if tube.is_stat:
            surface.box(Corner(0, 17.2, NUMBER_MM - 2.2, 4.6), fill=INK)
            surface.text((NUMBER_MM - 2.2) / 2, 20.6, "STAT", TEXT_PT, bold=True, align="middle", colour=WHITE)
        _draw_picture(surface, tube)
        y = 2.4
        for text, size_pt, is_bold in lines:
            y += points_mm(size_pt)
            surface.text(text_x, y, text, size_pt, bold=is_bold, colour=INK if is_bold or size_pt > SMALL_PT else FAINT)
        _draw_ticks(surface, tube, room - TICK_MM)

    return Block(height, draw)


def _words(tube: SheetTube, room: float) -> list[tuple[str, float, bool]]:
    """The lines of the text: name, additive, what it is for, how to treat it; each with its type and weight."""
    letters = f" [{tube.letters}]" if tube.letters else ""
    specimen = (f"specimen {tube.specimen}",) if tube.specimen else ()
    rows = (
        (tube.name, NAME_PT, True),
        (f"{tube.additive}{letters}", SMALL_PT, False),
        *((text, TEXT_PT, True) for text in specimen),
        (" · ".join(tube.contents), TEXT_PT, tube.purpose == "discard"),
        *((text, TEXT_PT - 0.4, False) for text in ("; ".join(tube.care),) if text),
    )
    return [
        (line, size, bold) for text, size, bold in rows
        for line in wrap(readable(text, field="tube"), room, size, bold=bold)
    ]  # fmt: skip


def _draw_picture(surface: Surface, tube: SheetTube) -> None:
    corner = Corner(NUMBER_MM, 6.4, length_mm(tube.picture, PICTURE_MM), TUBE_MM)
    fill_x = draw_tube(surface, corner, tube.picture)
    y = corner.bottom + 4.6
    stopper = f"stopper {tube.stopper}" if tube.stopper else ""
    for line in wrap(readable(stopper, field="stopper"), PICTURE_MM, TEXT_PT, bold=True)[:2]:
        surface.text(NUMBER_MM, y, line, TEXT_PT, bold=True)
        y += points_mm(TEXT_PT)
    if fill_x is not None and tube.purpose != "discard":
        surface.text(fill_x + 2.0, 5.0, f"fill to here: {tube.volume}", SMALL_PT, bold=True)
    elif tube.picture.is_bottle:
        surface.text(NUMBER_MM, 5.0, f"put in: {tube.volume}", SMALL_PT, bold=True)
    elif tube.purpose == "discard":
        verb = "give back" if tube.is_returned else "discard"
        surface.text(NUMBER_MM, 5.0, f"{verb} {tube.volume}", SMALL_PT, bold=True)


def _draw_ticks(surface: Surface, tube: SheetTube, x: float) -> None:
    if tube.purpose == "discard":
        _draw_tick(surface, x, 3.4, "given back" if tube.is_returned else "thrown away", TEXT_PT)
        return
    _draw_tick(surface, x, 3.4, f"filled, {tube.volume}", TEXT_PT)
    y = 8.8
    if tube.inversions:
        _draw_tick(surface, x, y, f"inverted {tube.inversions}×", TEXT_PT)
        for turn in range(min(tube.inversions, MOST_TALLY)):
            surface.disc(x + SIDE_MM + 2.7 + turn * 2.3, y + 5.4, 0.8, edge=INK)
        y += 8.0
    _draw_tick(surface, x, y, "labelled at the patient", TEXT_PT)
    surface.text(x, y + 8.4, "at ____ : ____  by ______", SMALL_PT, colour=FAINT)


def _draw_tick(surface: Surface, x: float, y: float, text: str, size_pt: float) -> None:
    surface.box(Corner(x, y, SIDE_MM, SIDE_MM), edge=INK, line_mm=0.35)
    surface.text(x + SIDE_MM + 1.8, y + SIDE_MM / 2 + size_pt * CAPITAL / POINTS_PER_MM / 2, text, size_pt)


def _note_blocks(sheet: CollectorSheet, room: float) -> list[Block]:
    texts = [*(f"note: {text}" for text in sheet.notes), *sheet.proof]
    blocks = []
    for number, text in enumerate(texts):
        lines = wrap(readable(text, field="note"), room - 3, SMALL_PT)
        blocks.append(_note_block(lines, room, is_first=number == 0))
    return blocks


def _note_block(lines: list[str], room: float, *, is_first: bool) -> Block:
    above = 2.0 if is_first else 0.0

    def draw(surface: Surface) -> None:
        if is_first:
            surface.line(0, 0, room, 0, colour=HAIR)
        for row, line in enumerate(lines):
            x = 0 if row == 0 else 3
            surface.text(x, above + (row + 1) * points_mm(SMALL_PT) - 0.6, line, SMALL_PT)

    return Block(above + len(lines) * points_mm(SMALL_PT) + 0.3, draw)

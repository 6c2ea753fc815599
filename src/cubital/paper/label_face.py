"""One specimen label: name top left, numbers, birth date, both codes, collection and collector, nothing cut."""

from __future__ import annotations

from datetime import datetime
from typing import NamedTuple

import msgspec

from cubital.errors import PaperError
from cubital.facts.labels import LabelStock, label_content
from cubital.model.identity import Identity
from cubital.paper import code128, datamatrix
from cubital.paper.ink import draw_weave
from cubital.paper.surface import (
    CAPITAL,
    INK,
    POINTS_PER_MM,
    WHITE,
    Corner,
    Surface,
    fitted_pt,
    readable,
    width_mm,
    wrap,
)
from cubital.units import millilitres_text

# A printer of 203 dots an inch: every bar is a whole number of its dots, two at least (0.25 mm).
DOT_MM = 25.4 / 203
# What is drawn smaller, so that a dot next to it is not touched.
HAIR_MM = DOT_MM / 50
BAR_DOTS = (3, 2)
MATRIX_DOTS = (4, 3, 2)
LEAST_BAR_MM, GOOD_BAR_MM, MOST_BAR_MM = 5.0, 7.0, 16.0
GAP_MM, ROW_GAP_MM, BAR_GAP_MM, STAT_MM = 1.0, 0.2, 1.6, 7.5
# A text that does not fit on one line is set on two at most; the draw of a series in the type of the tube.
MOST_LINES, DRAW = 2, "tube"
# Type is set this much larger or smaller, as the height of the stock allows.
SCALES = (1.6, 1.4, 1.2, 1.1, 1.0, 0.9, 0.8, 0.7)


class SpecimenLabel(msgspec.Struct, frozen=True, kw_only=True):
    """One label; `collected` and `collector` None leave a line to write on. Volume in whole microlitres.

    `draw` tells its draw from others in few words, such as the minute of a series; `position` counts in the order of
    draw, of `positions`.
    """

    identity: Identity
    specimen: str
    mark: str
    tube: str
    letters: str
    family: str
    draw_ul: int
    position: int
    positions: int
    collected: datetime | None = None
    collector: str | None = None
    draw: str = ""
    is_stat: bool = False


class Line(NamedTuple):
    """One line of type: its text, size and weight."""

    text: str
    size_pt: float
    bold: bool = False

    @property
    def height(self) -> float:
        """How high the line is, in millimetres."""
        return self.size_pt * 1.06 / POINTS_PER_MM

    @property
    def drop(self) -> float:
        """How far its baseline stands above its foot, in millimetres."""
        return self.size_pt * 0.2 / POINTS_PER_MM


class _Laid(NamedTuple):
    """A label as it will be printed at one scale; `bars` is the height that is left for them, in millimetres."""

    scale: float
    names: list[Line]
    numbers: list[Line]
    below: list[Line]
    matrix: float
    bars: float

    @property
    def head(self) -> float:
        """How high the name and the mark beside it are."""
        return max(3.9 * self.scale, sum(line.height for line in self.names))

    @property
    def lines(self) -> int:
        """How many lines of type it has."""
        return len(self.names) + len(self.numbers) + len(self.below)

    @property
    def foot(self) -> float:
        """How high the lines below the bars are, with the matrix beside them."""
        return max(self.matrix, sum(line.height for line in self.below))


def draw_label(surface: Surface, label: SpecimenLabel, stock: LabelStock, where: str) -> None:
    edge = float(stock.edge_mm)
    room = Corner(edge, edge, float(stock.width_mm) - 2 * edge, float(stock.height_mm) - 2 * edge)
    laid = _lay(label, room, where)
    _draw_place(surface, room, label, laid)
    y = room.y + (0.8 * laid.head - laid.names[0].height + laid.names[0].drop if len(laid.names) == 1 else 0)
    for line in laid.names:
        y += line.height
        surface.text(room.x, y - line.drop, line.text, line.size_pt, bold=line.bold)
    y = room.y + laid.head + ROW_GAP_MM
    for line in laid.numbers:
        y += line.height
        surface.text(room.x, y - line.drop, line.text, line.size_pt, bold=line.bold)
    if label.is_stat:
        _draw_stat(surface, room.right, y - laid.numbers[-1].drop, laid.numbers[-1].size_pt)
    _draw_bars(surface, Corner(0, y + BAR_GAP_MM / 2, float(stock.width_mm), laid.bars), label.specimen, where)
    y = room.bottom - laid.foot
    for line in laid.below:
        y += line.height
        surface.text(room.x, y - line.drop, line.text, line.size_pt, bold=line.bold)
    _draw_matrix(surface, room.right - laid.matrix, room.bottom - laid.matrix, label.specimen, laid.matrix)


def _lay(label: SpecimenLabel, room: Corner, where: str) -> _Laid:
    """The label in as few lines, then in as large a type, as leaves good bars; else any bars; else refused."""
    tries = []
    for scale in SCALES:
        try:
            tries.append(_lay_at(label, room, where, scale))
        except PaperError:
            # What does not fit beside a large mark may fit beside a small one; the smallest has the last word.
            if scale == SCALES[-1] and not tries:
                raise
    for least in (GOOD_BAR_MM, LEAST_BAR_MM):
        fitting = [laid for laid in tries if laid.bars >= least]
        if fitting:
            # A text on one line in smaller type is read more surely than one that is broken.
            laid = min(fitting, key=lambda laid: (laid.lines, -laid.scale))
            return laid._replace(bars=min(MOST_BAR_MM, laid.bars))
    most = max(laid.bars for laid in tries)
    raise PaperError(
        f"found {most:.1f} mm of height left for the bars; expected {LEAST_BAR_MM:g} mm at least; "
        "choose a higher stock",
        where=where, field="specimen",
    )  # fmt: skip


def _lay_at(label: SpecimenLabel, room: Corner, where: str, scale: float) -> _Laid:
    place = 8.1 * scale + width_mm(f"{label.position}/{label.positions}", 8 * scale, bold=True) + 2
    name = readable(label.identity.name, field="name", where=where)
    names = _set(name, room.width - place, ("name",), where, scale, bold=True)
    numbers = _lay_numbers(label, room.width, where, scale)
    matrix = _matrix_side_mm(label.specimen, where, scale)
    below = _lay_below(label, room.width - matrix - GAP_MM, where, scale)
    laid = _Laid(scale, names, numbers, below, matrix, 0)
    used = laid.head + ROW_GAP_MM + sum(line.height for line in numbers) + laid.foot + BAR_GAP_MM
    return laid._replace(bars=room.height - used)


def _lay_numbers(label: SpecimenLabel, room: float, where: str, scale: float) -> list[Line]:
    """The patient's numbers and birth date, on one line where they fit, else on two."""
    identity = label.identity
    texts = {
        "number": readable(identity.number, field="number", where=where),
        "birth_date": f"born {identity.birth_date.isoformat()}",
    }
    if identity.second_number is not None:
        texts["second_number"] = readable(identity.second_number, field="second_number", where=where)
    stat = STAT_MM if label.is_stat else 0.0
    keys = tuple(texts)
    together = "   ".join(texts.values())
    least_pt = max(float(label_content()[key].least_pt) for key in keys)
    if width_mm(together, least_pt, bold=True) <= room - stat:
        rows = [(keys, together, room - stat)]
    else:
        rows = [(keys[:1], texts["number"], room), (keys[1:], "   ".join(list(texts.values())[1:]), room - stat)]
    return [Line(text, _fit(text, width, named, where, scale, bold=True), True) for named, text, width in rows]


def _lay_below(label: SpecimenLabel, room: float, where: str, scale: float) -> list[Line]:
    """The lines beside the matrix: specimen, volume and draw, tube and additive, collection."""
    specimen = readable(label.specimen, field="specimen", where=where)
    draw = readable(label.draw, field="draw", where=where)
    letters = f" [{label.letters}]" if label.letters else ""
    tube = f"{readable(label.tube, field='tube', where=where)}{letters}"
    volume = f"{millilitres_text(label.draw_ul)} mL"
    collected = "_" * 11 if label.collected is None else f"{label.collected:%Y-%m-%d %H:%M}"
    collector = "_" * 6 if label.collector is None else readable(label.collector, field="collector", where=where)
    first, more = f"{specimen}  {volume}  {draw}".rstrip(), list[str]()
    if draw and not _fits(first, "specimen", room):
        first, more = f"{specimen}  {volume}", [draw]
        if _fits(f"{specimen}  {draw}", "specimen", room) and _fits(f"{tube}  {volume}", "tube", room):
            first, tube, more = f"{specimen}  {draw}", f"{tube}  {volume}", []
    rows = (
        (("specimen",), first, True),
        *(((DRAW,), text, True) for text in more),
        (("tube",), tube, False),
        (("collected", "collector"), f"taken {collected} by {collector}", False),
    )
    return [line for keys, text, bold in rows for line in _set(text, room, keys, where, scale, bold=bold)]


def _fits(text: str, key: str, room: float) -> bool:
    """Whether this goes on one line at the least type of its field."""
    return width_mm(text, float(label_content()[key].least_pt), bold=key == "specimen") <= room


def _set(
    text: str, room: float, fields: tuple[str, ...], where: str, scale: float, *, bold: bool = False
) -> list[Line]:
    """The text on one line, or on two at its least type, no word broken."""
    try:
        return [Line(text, _fit(text, room, fields, where, scale, bold=bold), bold)]
    except PaperError:
        least_pt = max(float(label_content()[key].least_pt) for key in fields)
        lines = wrap(text, room, least_pt, bold=bold)
        if len(lines) > MOST_LINES or " ".join(lines).split() != text.split():
            raise
        return [Line(line, least_pt, bold) for line in lines]


def _fit(text: str, room: float, fields: tuple[str, ...], where: str, scale: float, *, bold: bool = False) -> float:
    """The type of a text that says these fields, at this scale; the first of them is named where it is refused."""
    content = [label_content()[key] for key in fields]
    least_pt = max(float(field.least_pt) for field in content)
    most_pt = max(least_pt, scale * min(float(field.most_pt) for field in content))
    return fitted_pt(text, room, most_pt=most_pt, least_pt=least_pt, field=" and ".join(fields), where=where, bold=bold)


def _draw_place(surface: Surface, room: Corner, label: SpecimenLabel, laid: _Laid) -> None:
    """The cap with its mark and the collar with the weave of its additive; before them the place in the order."""
    scale = laid.scale
    collar = Corner(room.right - 1.9 * scale, room.y + 0.4, 1.9 * scale, 3.9 * scale - 0.8)
    chip = Corner(room.right - 8.1 * scale, room.y, 6.2 * scale, 3.9 * scale)
    baseline = chip.y + chip.height / 2 + 8.5 * scale * CAPITAL / POINTS_PER_MM / 2
    draw_weave(surface, collar, label.family)
    surface.box(chip, fill=WHITE, edge=INK, line_mm=0.35, radius_mm=0.7)
    surface.text(chip.x + chip.width / 2, baseline, label.mark or "--", 8.5 * scale, bold=True, align="middle")
    place = f"{label.position}/{label.positions}"
    surface.text(chip.x - 0.7, baseline, place, 8 * scale, bold=True, align="right")


def _draw_stat(surface: Surface, right: float, baseline: float, size_pt: float) -> None:
    size_pt = min(size_pt, 8)
    width = width_mm("STAT", size_pt, bold=True) + 1.4
    height = size_pt * CAPITAL / POINTS_PER_MM + 0.9
    surface.box(Corner(right - width, baseline - height + 0.45, width, height), fill=INK)
    surface.text(right - width / 2, baseline, "STAT", size_pt, bold=True, align="middle", colour=WHITE)


def _draw_bars(surface: Surface, corner: Corner, specimen: str, where: str) -> None:
    """The bars in the middle of the label, each a whole number of dots, with their quiet zones."""
    modules = code128.modules_of(_encodable(specimen, where))
    quiet = 2 * code128.QUIET_MODULES
    dots_across = int(corner.width / DOT_MM)
    dots = next((dots for dots in BAR_DOTS if (len(modules) + quiet) * dots <= dots_across), None)
    if dots is None:
        most = dots_across // BAR_DOTS[-1] - quiet
        raise PaperError(
            f"found {len(specimen)} characters that make {len(modules)} bars and gaps; expected at most {most} at "
            "0.25 mm each; choose a wider stock or a shorter number",
            where=where, field="specimen",
        )  # fmt: skip
    step = dots * DOT_MM
    start = (dots_across - len(modules) * dots) // 2 * DOT_MM
    place = 0
    while place < len(modules):
        end = place
        while end < len(modules) and modules[end] == modules[place]:
            end += 1
        if modules[place] == "1":
            x = corner.x + start + place * step
            _darken(surface, Corner(x, corner.y, (end - place) * step, corner.height))
        place = end


def _matrix_side_mm(specimen: str, where: str, scale: float) -> float:
    """How large the matrix is, with its quiet zone: the largest dots that keep it under its share of the label."""
    try:
        side = datamatrix.side_of(_encodable(specimen, where)) + 2 * datamatrix.QUIET_MODULES
    except ValueError as error:
        raise PaperError(f"{error}; choose a shorter number", where=where, field="specimen") from None
    sizes = [side * dots * DOT_MM for dots in MATRIX_DOTS]
    return next((size for size in sizes if size <= 8.2 * scale), sizes[-1])


def _draw_matrix(surface: Surface, x: float, y: float, specimen: str, size: float) -> None:
    rows = datamatrix.matrix_of(specimen)
    step = size / (len(rows) + 2 * datamatrix.QUIET_MODULES)
    # On whole dots, so that a printer of 203 dots an inch makes every module alike.
    left, top = (on_dots(edge + datamatrix.QUIET_MODULES * step) for edge in (x, y))
    for row, cells in enumerate(rows):
        for column, is_dark in enumerate(cells):
            if is_dark:
                _darken(surface, Corner(left + column * step, top + row * step, step, step))


def _darken(surface: Surface, corner: Corner) -> None:
    """Blacken whole dots: drawn a hair smaller, for a printer that blackens every dot that is touched."""
    size = corner.width - 2 * HAIR_MM, corner.height - 2 * HAIR_MM
    inside = Corner(corner.x + HAIR_MM, corner.y + HAIR_MM, *size)
    surface.box(inside, fill=(0, 0, 0))


def _encodable(specimen: str, where: str) -> str:
    if not code128.can_encode(specimen):
        raise PaperError(
            "found a number that a barcode cannot hold; expected letters, digits and signs of ASCII; correct it",
            where=where, field="specimen",
        )  # fmt: skip
    return specimen


def on_dots(length_mm: float) -> float:
    """The length of whole printer dots that is nearest."""
    return round(length_mm / DOT_MM) * DOT_MM

"""Specimen labels on any stock, down a roll or over sheets, behind a slip that says whose and from which facts."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import msgspec

from cubital.errors import PaperError
from cubital.facts.labels import PAPER_MM, LabelStock
from cubital.paper.label_face import HAIR_MM, Line, SpecimenLabel, draw_label, on_dots
from cubital.paper.surface import INK, WHITE, Corner, Document, Surface, fitted_pt, readable, wrap

WHERE = "label"


class Slip(msgspec.Struct, frozen=True, kw_only=True):
    """What is printed ahead of the labels, on one of them: where from, from which facts, and what to mind."""

    site: str
    edition: str
    on: date
    cautions: tuple[str, ...]


def print_labels(labels: Sequence[SpecimenLabel], slip: Slip, stock: LabelStock, *, skip: int = 0) -> bytes:
    """The PDF of these labels, a slip before them; `skip` labels of the first sheet are already used.

    Nothing is cut: a text that does not fit at its least type is refused with `PaperError`, which names the field.
    """
    if not labels:
        raise PaperError("found no specimen that needs a label; expected one at least; plan a draw", where=WHERE)
    repeated = len({label.specimen for label in labels}) < len(labels)
    if repeated:
        raise PaperError(
            "found one number twice; expected a number for each specimen; correct them", where=WHERE, field="specimen"
        )
    document = Document(title="Specimen labels", subject=f"{slip.site}; facts {slip.edition}; {slip.on}")
    corners = _Places(document, stock, skip)
    _draw_slip(corners.next(), slip, len(labels), stock)
    for number, label in enumerate(labels, start=1):
        draw_label(corners.next(), label, stock, f"{WHERE} {number} of {len(labels)} on {stock.key}")
    return document.finish()


class _Places:
    """Where the next label goes: down a roll, or along the rows of a sheet."""

    def __init__(self, document: Document, stock: LabelStock, skip: int) -> None:
        self._document, self._stock = document, stock
        sheet = stock.sheet
        self._room = 1 if sheet is None else sheet.columns * sheet.rows
        if not 0 <= skip < self._room:
            raise PaperError(
                f"found {skip}; expected 0 to {self._room - 1} labels of {stock.key} already used; correct it",
                where="skip",
            )
        self._used = skip
        self._page: Surface | None = None

    def next(self) -> Surface:
        """The surface of the next label."""
        stock, sheet = self._stock, self._stock.sheet
        place = self._used % self._room
        if self._page is None or place == 0:
            if sheet is None:
                # A page of whole dots, less a hair, is not scaled by a printer that rounds up to its dots.
                size = on_dots(float(stock.width_mm)) - HAIR_MM, on_dots(float(stock.height_mm)) - HAIR_MM
            else:
                size = float(PAPER_MM[sheet.paper][0]), float(PAPER_MM[sheet.paper][1])
            self._page = self._document.page(*size)
        self._used += 1
        if sheet is None:
            return self._page
        row, column = divmod(place, sheet.columns)
        return self._page.at(
            on_dots(float(sheet.left_mm + column * sheet.pitch_x_mm)),
            on_dots(float(sheet.top_mm + row * sheet.pitch_y_mm)),
        )


def _draw_slip(surface: Surface, slip: Slip, count: int, stock: LabelStock) -> None:
    edge = float(stock.edge_mm)
    room = float(stock.width_mm) - 2 * edge
    scale = min(1.5, max(1.0, float(stock.height_mm) / 25.4))
    surface.box(Corner(edge, edge, room, 4.4 * scale), fill=INK)
    head = f"NOT A SPECIMEN: {count} label{'s' if count > 1 else ''} follow{'' if count > 1 else 's'}"
    size_pt = fitted_pt(head, room - 2, most_pt=9 * scale, least_pt=6.5, field="slip", where=WHERE, bold=True)
    surface.text(edge + 1, edge + 3.1 * scale, head, size_pt, bold=True, colour=WHITE)
    y = edge + 4.4 * scale
    texts = [(readable(slip.site, field="site"), True), (f"facts {slip.edition}, printed {slip.on}", False)]
    lines = [(line, bold) for text, bold in texts for line in wrap(text, room, 6.5, bold=bold)]
    lines += [(line, False) for line in wrap(" ".join(slip.cautions), room, 5.6)]
    for line, bold in lines:
        size_pt = 6.5 if bold else 5.6
        y += Line(line, size_pt).height + 0.15
        surface.text(edge, y, line, size_pt, bold=bold)
    if y > float(stock.height_mm) - 0.4:
        raise PaperError(
            f"found {y:.1f} mm of slip; expected at most {stock.height_mm} mm; choose a higher stock",
            where=f"slip on {stock.key}", field="site",
        )  # fmt: skip

"""Where paper is drawn: millimetres from the top left corner, two weights of one font, the same bytes each time."""

from __future__ import annotations

import io
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any, Literal, NamedTuple

from cubital.errors import MissingLibrary, PaperError

POINTS_PER_MM = 72 / 25.4
FONTS = Path(__file__).parent / "fonts"
REGULAR, BOLD = "IBMPlexSansCondensed-Regular", "IBMPlexSansCondensed-SemiBold"
# The height of a capital, and from baseline to baseline, in shares of the type size.
CAPITAL, LEADING = 0.70, 1.22
Align = Literal["left", "right", "middle"]
Rgb = tuple[float, float, float]
INK: Rgb = (0.09, 0.09, 0.11)
FAINT: Rgb = (0.24, 0.24, 0.27)
HAIR: Rgb = (0.72, 0.72, 0.74)
PALE: Rgb = (0.93, 0.93, 0.94)
WHITE: Rgb = (1, 1, 1)


class Corner(NamedTuple):
    """The top left corner of a box and its size, in millimetres."""

    x: float
    y: float
    width: float
    height: float

    @property
    def right(self) -> float:
        """Where the box ends across."""
        return self.x + self.width

    @property
    def bottom(self) -> float:
        """Where the box ends down."""
        return self.y + self.height


def points_mm(size_pt: float) -> float:
    """How high a line of this type is, in millimetres."""
    return size_pt * LEADING / POINTS_PER_MM


def width_mm(text: str, size_pt: float, *, bold: bool = False) -> float:
    """How wide this text is."""
    _register()
    from reportlab.pdfbase.pdfmetrics import stringWidth

    return float(stringWidth(text, BOLD if bold else REGULAR, size_pt)) / POINTS_PER_MM


def readable(text: str, *, field: str, where: str = "") -> str:
    """The text in the form it is printed in; refuses a character that the font has no letter for.

    A letter that would be drawn wrong is refused too: a mark that stands apart from its letter, and scripts that are
    joined or run from right to left.
    """
    composed = unicodedata.normalize("NFC", text)
    for character in composed:
        code = f"U+{ord(character):04X} {unicodedata.name(character, 'without a name')}"
        if unicodedata.category(character) in ("Mn", "Mc", "Me", "Cc", "Cf", "Zl", "Zp", "Cs", "Co", "Cn"):
            raise PaperError(
                f"found {code}, which cannot be drawn safely; expected letters that stand alone; write it in others",
                where=where or field, field=field,
            )  # fmt: skip
        if ord(character) not in _letters():
            raise PaperError(
                f"found {code}, for which the font has no letter; expected Latin, Greek or Cyrillic; "
                "write it in one of them",
                where=where or field, field=field,
            )  # fmt: skip
    return composed


def wrap(text: str, room_mm: float, size_pt: float, *, bold: bool = False) -> list[str]:
    """The text on lines that fit; a word longer than a line is broken."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        for part in _parts(word, room_mm, size_pt, bold=bold):
            longer = f"{line} {part}" if line else part
            if line and width_mm(longer, size_pt, bold=bold) > room_mm:
                lines.append(line)
                line = part
            else:
                line = longer
    return [*lines, line] if line else lines


def _parts(word: str, room_mm: float, size_pt: float, *, bold: bool) -> Iterator[str]:
    while width_mm(word, size_pt, bold=bold) > room_mm and len(word) > 1:
        end = len(word) - 1
        while end > 1 and width_mm(word[:end], size_pt, bold=bold) > room_mm:
            end -= 1
        yield word[:end]
        word = word[end:]
    yield word


def fitted_pt(
    text: str, room_mm: float, *, most_pt: float, least_pt: float, field: str, where: str, bold: bool = False
) -> float:
    """The largest type from most to least in which the text fits; refuses, never cuts, naming the field."""
    natural = width_mm(text, most_pt, bold=bold)
    if natural <= room_mm:
        return most_pt
    size_pt = int(most_pt * room_mm / natural * 20) / 20
    if size_pt >= least_pt:
        return size_pt
    needs = natural * least_pt / most_pt
    raise PaperError(
        f"found {len(text)} characters that need {needs:.1f} mm at the least type of {least_pt:g} pt; "
        f"expected at most {room_mm:.1f} mm; choose a wider stock",
        where=where, field=field,
    )  # fmt: skip


@cache
def _register() -> None:
    try:
        from reportlab.pdfbase.pdfmetrics import registerFont
        from reportlab.pdfbase.ttfonts import TTFont
    except ImportError:
        raise MissingLibrary.of("reportlab", need="a PDF", extra="paper", where="print") from None
    for name in (REGULAR, BOLD):
        registerFont(TTFont(name, str(FONTS / f"{name}.ttf"), shapable=False))


@cache
def _letters() -> frozenset[int]:
    """The characters that both weights have."""
    _register()
    from reportlab.pdfbase.pdfmetrics import getFont

    regular, bold = (frozenset(getFont(name).face.charToGlyph) for name in (REGULAR, BOLD))
    return regular & bold


class Surface:
    """One page, or a label on one: everything is drawn in millimetres from its top left corner."""

    def __init__(self, canvas: Any, height_mm: float, *, x: float = 0, y: float = 0) -> None:
        self._canvas = canvas
        self._height = height_mm
        self._x, self._y = x, y

    def at(self, x: float, y: float) -> Surface:
        """The same page seen from another corner."""
        return Surface(self._canvas, self._height, x=self._x + x, y=self._y + y)

    def text(
        self, x: float, y: float, text: str, size_pt: float, *, bold: bool = False, align: Align = "left",
        colour: Rgb = INK,
    ) -> None:  # fmt: skip
        """Set a line of text; `y` is its baseline."""
        _register()
        draw = {"left": "drawString", "right": "drawRightString", "middle": "drawCentredString"}[align]
        self._canvas.setFillColorRGB(*colour)
        self._canvas.setFont(BOLD if bold else REGULAR, size_pt)
        getattr(self._canvas, draw)(*self._point(x, y), text)

    def box(
        self, corner: Corner, *, fill: Rgb | None = None, edge: Rgb | None = None, line_mm: float = 0.2,
        radius_mm: float = 0,
    ) -> None:  # fmt: skip
        """Draw a box, filled, edged or both."""
        self._prepare(fill, edge, line_mm)
        x, y = self._point(corner.x, corner.bottom)
        size = corner.width * POINTS_PER_MM, corner.height * POINTS_PER_MM
        how = {"stroke": int(edge is not None), "fill": int(fill is not None)}
        radius = min(radius_mm, corner.width / 2, corner.height / 2) * POINTS_PER_MM
        if radius:
            self._canvas.roundRect(x, y, *size, radius, **how)
        else:
            self._canvas.rect(x, y, *size, **how)

    def line(self, x: float, y: float, to_x: float, to_y: float, *, line_mm: float = 0.2, colour: Rgb = INK) -> None:
        """Draw a line."""
        self._prepare(None, colour, line_mm)
        self._canvas.line(*self._point(x, y), *self._point(to_x, to_y))

    def shape(
        self, points: list[tuple[float, float]], *, fill: Rgb | None = None, edge: Rgb | None = None,
        line_mm: float = 0.2,
    ) -> None:  # fmt: skip
        """Draw a closed shape through these points."""
        self._prepare(fill, edge, line_mm)
        path = self._canvas.beginPath()
        path.moveTo(*self._point(*points[0]))
        for point in points[1:]:
            path.lineTo(*self._point(*point))
        path.close()
        self._canvas.drawPath(path, stroke=int(edge is not None), fill=int(fill is not None))

    def disc(self, x: float, y: float, radius_mm: float, *, fill: Rgb | None = None, edge: Rgb | None = None) -> None:
        """Draw a disc about its middle."""
        self._prepare(fill, edge, 0.2)
        self._canvas.circle(
            *self._point(x, y), radius_mm * POINTS_PER_MM, stroke=int(edge is not None), fill=int(fill is not None)
        )

    @contextmanager
    def clipped(self, corner: Corner, *, radius_mm: float = 0) -> Iterator[None]:
        """Draw only what is inside this box."""
        self._canvas.saveState()
        path = self._canvas.beginPath()
        radius = min(radius_mm, corner.width / 2, corner.height / 2) * POINTS_PER_MM
        path.roundRect(
            *self._point(corner.x, corner.bottom), corner.width * POINTS_PER_MM, corner.height * POINTS_PER_MM, radius
        )
        self._canvas.clipPath(path, stroke=0, fill=0)
        yield
        self._canvas.restoreState()

    def _point(self, x: float, y: float) -> tuple[float, float]:
        return (self._x + x) * POINTS_PER_MM, (self._height - self._y - y) * POINTS_PER_MM

    def _prepare(self, fill: Rgb | None, edge: Rgb | None, line_mm: float) -> None:
        if fill is not None:
            self._canvas.setFillColorRGB(*fill)
        if edge is not None:
            self._canvas.setStrokeColorRGB(*edge)
            self._canvas.setLineWidth(line_mm * POINTS_PER_MM)


class Document:
    """A PDF in the making; the same pages make the same bytes."""

    def __init__(self, *, title: str, subject: str) -> None:
        _register()
        from reportlab.pdfgen.canvas import Canvas

        self._bytes = io.BytesIO()
        self._canvas = Canvas(self._bytes, invariant=1, pageCompression=1, lang="en")
        self._canvas.setTitle(title)
        self._canvas.setSubject(subject)
        self._canvas.setAuthor("")
        self._canvas.setCreator("cubital")
        self._has_page = False

    def page(self, width_mm: float, height_mm: float) -> Surface:
        """A new page of this size."""
        if self._has_page:
            self._canvas.showPage()
        self._has_page = True
        self._canvas.setPageSize((width_mm * POINTS_PER_MM, height_mm * POINTS_PER_MM))
        return Surface(self._canvas, height_mm)

    def finish(self) -> bytes:
        """The whole PDF."""
        self._canvas.showPage()
        self._canvas.save()
        return self._bytes.getvalue()

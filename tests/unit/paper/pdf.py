"""What a printed page says and shows: its words, its picture, and the barcodes that a reader finds in it."""

from __future__ import annotations

import numpy as np
import pypdfium2
import zxingcpp

PRINTER_DPI = 203


def words_of(pdf: bytes) -> list[str]:
    """The words of each page, spaces and line ends as one space."""
    return [" ".join(page.get_textpage().get_text_range().split()) for page in pypdfium2.PdfDocument(pdf)]


def sizes_of(pdf: bytes) -> list[tuple[float, float]]:
    """The size of each page in millimetres."""
    return [(page.get_width() * 25.4 / 72, page.get_height() * 25.4 / 72) for page in pypdfium2.PdfDocument(pdf)]


def picture_of(page: pypdfium2.PdfPage, dpi: int = PRINTER_DPI) -> np.ndarray:
    """The page in grey as a printer of so many dots an inch is given it."""
    return np.asarray(page.render(scale=dpi / 72, grayscale=True).to_numpy()).squeeze()


def codes_of(pdf: bytes, dpi: int = PRINTER_DPI, *, in_black: bool = False) -> list[list[tuple[str, str]]]:
    """The barcodes of each page by format and text, sorted; `in_black` leaves only black and white dots."""
    found = []
    for page in pypdfium2.PdfDocument(pdf):
        picture = picture_of(page, dpi)
        if in_black:
            picture = np.where(picture < 128, 0, 255).astype(np.uint8)
        found.append(sorted((code.format.name, code.text) for code in zxingcpp.read_barcodes(picture)))
    return found


def inked_mm(pdf: bytes, page: int = 0, dpi: int = PRINTER_DPI) -> tuple[float, float, float, float]:
    """The left, top, right and bottom of everything that is printed on a page, in millimetres."""
    picture = picture_of(pypdfium2.PdfDocument(pdf)[page], dpi)
    rows, columns = np.nonzero(picture < 250)
    step = 25.4 / dpi
    return columns.min() * step, rows.min() * step, (columns.max() + 1) * step, (rows.max() + 1) * step

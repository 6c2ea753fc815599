"""Both barcodes are read back by a reader that shares no code with their writers."""

from __future__ import annotations

import numpy as np
import pytest
import zxingcpp
from hypothesis import given
from hypothesis import strategies as st
from reportlab.graphics.barcode import code128 as other_writer

from cubital.paper import code128, datamatrix

PRINTABLE = st.text(st.characters(min_codepoint=32, max_codepoint=126), min_size=1, max_size=24)


def read(modules: np.ndarray, formats: zxingcpp.BarcodeFormat) -> list[str]:
    """What the reader finds in these modules, four dots each, with a wide quiet zone."""
    dots = np.kron(np.pad(modules, 12), np.ones((4, 4)))
    image = np.where(dots, 0, 255).astype(np.uint8)
    return [found.text for found in zxingcpp.read_barcodes(image) if found.format == formats]


def bars(text: str) -> np.ndarray:
    return np.array([[module == "1" for module in code128.modules_of(text)]] * 20)


@given(PRINTABLE)
def test_code_128_of_any_printable_text_is_read_back(text: str) -> None:
    assert read(bars(text), zxingcpp.BarcodeFormat.Code128) == [text]


@given(PRINTABLE)
def test_a_data_matrix_of_any_printable_text_is_read_back(text: str) -> None:
    assert read(np.array(datamatrix.matrix_of(text)), zxingcpp.BarcodeFormat.DataMatrix) == [text]


@pytest.mark.parametrize(("side", "room", "_"), datamatrix.SIZES)
def test_each_size_of_data_matrix_is_module_for_module_what_another_writer_makes(side: int, room: int, _: int) -> None:
    text = ("3141592653589793" * 6)[: 2 * room]
    ours = np.array(datamatrix.matrix_of(text))
    theirs = zxingcpp.create_barcode(text, zxingcpp.BarcodeFormat.DataMatrix).to_image(scale=1, add_quiet_zones=False)
    assert ours.shape == (side, side)
    assert (ours == (np.array(theirs) == 0)).all()


def test_the_bars_of_code_128_are_those_that_another_writer_has() -> None:
    widths = {letter: str(width) for letters in ("ABCD", "abcd") for width, letter in enumerate(letters, start=1)}
    for symbol, pattern in enumerate(code128.PATTERNS):
        theirs = "".join(widths[letter] for letter in other_writer._patterns[symbol])
        assert pattern == theirs, symbol


def test_every_symbol_of_code_128_is_eleven_modules_wide_and_unlike_the_rest() -> None:
    assert {sum(map(int, pattern)) for pattern in code128.PATTERNS} == {11}
    assert len(set(code128.PATTERNS)) == 106


@pytest.mark.parametrize(
    ("text", "symbols"),
    [
        ("12", 1 + 1 + 1),
        ("1234", 1 + 2 + 1),
        ("12345", 1 + 2 + 1 + 1 + 1),
        ("A123", 1 + 4 + 1),
        ("A1234", 1 + 1 + 1 + 2 + 1),
        ("A1234B", 1 + 6 + 1),
        ("A123456B", 1 + 1 + 1 + 3 + 1 + 1 + 1),
    ],
)
def test_digits_are_paired_where_that_is_no_longer(text: str, symbols: int) -> None:
    assert len(code128.symbols_of(text)) == symbols
    assert code128.module_count(text) == len(code128.modules_of(text)) == 11 * symbols + 13


@pytest.mark.parametrize("text", ["", "Ä", "a\n", "٣"])
def test_text_that_is_not_printable_ascii_is_refused_by_both(text: str) -> None:
    assert not code128.can_encode(text)
    with pytest.raises(ValueError, match="printable ASCII"):
        code128.symbols_of(text)
    with pytest.raises(ValueError, match="printable ASCII"):
        datamatrix.matrix_of(text)


def test_the_largest_data_matrix_holds_88_digits_and_no_more() -> None:
    assert datamatrix.side_of("1" * 88) == 26
    with pytest.raises(ValueError, match="at most 44 codewords, found 45"):
        datamatrix.matrix_of("1" * 89)

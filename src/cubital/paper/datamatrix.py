"""Data Matrix ECC 200: a short text as a square of dark and light modules (ISO/IEC 16022, from memory).

Only printable ASCII and only the square symbols of one region, 10 to 26 modules: up to 44 codewords, which is more
than any specimen number needs. The tests read each size back with another program's reader.
"""

from __future__ import annotations

from cubital.paper.code128 import can_encode

# Modules a side, codewords of data, codewords of error correction.
SIZES = (
    (10, 3, 5),
    (12, 5, 7),
    (14, 8, 10),
    (16, 12, 12),
    (18, 18, 14),
    (20, 22, 18),
    (22, 30, 20),
    (24, 36, 24),
    (26, 44, 28),
)
QUIET_MODULES = 1
_PAD, _FIELD, _DIGIT_PAIRS = 129, 301, 130

Matrix = tuple[tuple[bool, ...], ...]


def matrix_of(text: str) -> Matrix:
    """The modules of this text, row by row from the top, True where dark; without the quiet zone.

    Raises `ValueError` for text that is not printable ASCII or too long for 26 modules.

    >>> len(matrix_of("123456")), matrix_of("123456")[9]
    (10, (True, True, True, True, True, True, True, True, True, True))
    """
    if not can_encode(text):
        raise ValueError("expected printable ASCII, one character at least")
    data = _codewords(text)
    for side, room, correction in SIZES:
        if len(data) <= room:
            words = _padded(data, room)
            return _framed(_placed([*words, *_correction(words, correction)], side - 2))
    raise ValueError(f"expected at most {SIZES[-1][1]} codewords, found {len(data)}")


def side_of(text: str) -> int:
    """How many modules a side the symbol of this text has."""
    return len(matrix_of(text))


def _codewords(text: str) -> list[int]:
    """ASCII encodation: two digits make one codeword."""
    found = []
    place = 0
    while place < len(text):
        pair = text[place : place + 2]
        if len(pair) == 2 and pair.isdigit():
            found.append(_DIGIT_PAIRS + int(pair))
            place += 2
        else:
            found.append(ord(text[place]) + 1)
            place += 1
    return found


def _padded(data: list[int], room: int) -> list[int]:
    words = list(data)
    if len(words) < room:
        words.append(_PAD)
    while len(words) < room:
        scrambled = _PAD + (149 * (len(words) + 1)) % 253 + 1
        words.append(scrambled if scrambled <= 254 else scrambled - 254)
    return words


def _correction(data: list[int], count: int) -> list[int]:
    """The Reed-Solomon codewords over GF(256) with the polynomial x^8 + x^5 + x^3 + x^2 + 1."""
    generator = [1]
    root = 1
    for _ in range(count):
        root = _times(root, 2)
        shifted = [*generator, 0]
        generator = [a ^ b for a, b in zip(shifted, [0, *(_times(c, root) for c in generator)], strict=True)]
    rest = [0] * count
    for word in data:
        factor = word ^ rest[0]
        rest = [old ^ _times(c, factor) for old, c in zip([*rest[1:], 0], generator[1:], strict=True)]
    return rest


def _times(a: int, b: int) -> int:
    product = 0
    while b:
        if b & 1:
            product ^= a
        a <<= 1
        if a & 0x100:
            a ^= _FIELD
        b >>= 1
    return product


def _placed(words: list[int], side: int) -> list[list[bool]]:
    """The codewords in the mapping square, in the standard's diagonal sweep (annex F)."""
    grid: list[list[bool | None]] = [[None] * side for _ in range(side)]
    queue = iter(words)
    row, column = 4, 0
    while row < side or column < side:
        for cells in _corners(row, column, side):
            _write(grid, cells, next(queue))
        while row >= 0 and column < side:
            if row < side and column >= 0 and grid[row][column] is None:
                _write(grid, _utah(row, column, side), next(queue))
            row, column = row - 2, column + 2
        row, column = row + 1, column + 3
        while row < side and column >= 0:
            if row >= 0 and column < side and grid[row][column] is None:
                _write(grid, _utah(row, column, side), next(queue))
            row, column = row + 2, column - 2
        row, column = row + 3, column + 1
    if grid[side - 1][side - 1] is None:
        # The two by two left over in the corner is a fixed pattern.
        grid[side - 1][side - 1] = grid[side - 2][side - 2] = True
    return [[bool(cell) for cell in line] for line in grid]


def _corners(row: int, column: int, side: int) -> list[list[tuple[int, int]]]:
    """The codewords that the sweep breaks at a corner, where it stands now."""
    last = side - 1
    found = []
    if row == side and column == 0:
        found.append([(last, 0), (last, 1), (last, 2), (0, last - 1), (0, last), (1, last), (2, last), (3, last)])
    if row == side - 2 and column == 0 and side % 4:
        found.append(
            [(last - 2, 0), (last - 1, 0), (last, 0), (0, last - 3), (0, last - 2), (0, last - 1), (0, last), (1, last)]
        )
    if row == side - 2 and column == 0 and side % 8 == 4:
        found[-1:] = [
            [(last - 2, 0), (last - 1, 0), (last, 0), (0, last - 1), (0, last), (1, last), (2, last), (3, last)]
        ]
    if row == side + 4 and column == 2 and side % 8 == 0:
        found.append(
            [(last, 0), (last, last), (0, last - 2), (0, last - 1), (0, last), (1, last - 2), (1, last - 1), (1, last)]
        )
    return found


def _utah(row: int, column: int, side: int) -> list[tuple[int, int]]:
    """The eight cells of a codeword whose last bit is at this place, wrapped round the edges."""
    offsets = ((-2, -2), (-2, -1), (-1, -2), (-1, -1), (-1, 0), (0, -2), (0, -1), (0, 0))
    return [_wrapped(row + down, column + along, side) for down, along in offsets]


def _wrapped(row: int, column: int, side: int) -> tuple[int, int]:
    if row < 0:
        row, column = row + side, column + 4 - (side + 4) % 8
    if column < 0:
        row, column = row + 4 - (side + 4) % 8, column + side
    return row, column


def _write(grid: list[list[bool | None]], cells: list[tuple[int, int]], word: int) -> None:
    for bit, (row, column) in enumerate(cells):
        grid[row][column] = bool(word & (0x80 >> bit))


def _framed(inner: list[list[bool]]) -> Matrix:
    """The mapping square inside its finder: solid at left and below, dotted above and at right."""
    side = len(inner) + 2
    rows = [tuple(column % 2 == 0 for column in range(side))]
    rows += [(True, *line, number % 2 == 0) for number, line in enumerate(inner)]
    return (*rows, (True,) * side)

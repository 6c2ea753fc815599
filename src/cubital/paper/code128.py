"""Code 128: a text as bars and gaps (ISO/IEC 15417, from memory; the tests read it back with another program's reader).

Only printable ASCII is encoded, in code sets B and C; runs of digits go two to a symbol.
"""

from __future__ import annotations

# The widths of bar, gap, bar, gap, bar, gap of the symbols 0 to 105, in modules; 11 modules each.
_WIDTHS = (
    "212222 222122 222221 121223 121322 131222 122213 122312 132212 221213 221312 231212 112232 122132 122231 "
    "113222 123122 123221 223211 221132 221231 213212 223112 312131 311222 321122 321221 312212 322112 322211 "
    "212123 212321 232121 111323 131123 131321 112313 132113 132311 211313 231113 231311 112133 112331 132131 "
    "113123 113321 133121 313121 211331 231131 213113 213311 213131 311123 311321 331121 312113 312311 332111 "
    "314111 221411 431111 111224 111422 121124 121421 141122 141221 112214 112412 122114 122411 142112 142211 "
    "241211 221114 413111 241112 134111 111242 121142 121241 114212 124112 124211 411212 421112 421211 212141 "
    "214121 412121 111143 111341 131141 114113 114311 411113 411311 113141 114131 311141 411131 211412 211214 "
    "211232"
)
PATTERNS = tuple(_WIDTHS.split())
STOP = "2331112"
QUIET_MODULES = 10
_START_B, _START_C, _TO_C, _TO_B = 104, 105, 99, 100
_SYMBOL_MODULES, _STOP_MODULES, _CHECK_BASE = 11, 13, 103
# From these run lengths on, going over to digit pairs is shorter: at an end, and between other characters.
_PAIRS_AT_AN_END, _PAIRS_INSIDE = 4, 6


def can_encode(text: str) -> bool:
    """Whether every character of the text is printable ASCII, and there is one.

    >>> can_encode("Q26-0042"), can_encode("Ä1"), can_encode("")
    (True, False, False)
    """
    return bool(text) and all(" " <= character <= "~" for character in text)


def symbols_of(text: str) -> list[int]:
    """The symbol numbers of this text from start to check, without the stop.

    >>> symbols_of("1234")
    [105, 12, 34, 82]
    """
    if not can_encode(text):
        raise ValueError("expected printable ASCII, one character at least")
    found: list[int] = []
    place = 0
    while place < len(text):
        digits = _digits_from(text, place)
        is_at_an_end = place == 0 or place + digits == len(text)
        if digits >= (_PAIRS_AT_AN_END if is_at_an_end else _PAIRS_INSIDE) or (digits == len(text) == 2):
            if digits % 2 and place:
                # An odd run gives its first digit to the set before it.
                found.append(_symbol_b(text[place]))
                place, digits = place + 1, digits - 1
            found.append(_TO_C if found else _START_C)
            pairs = digits // 2
            found += [int(text[place + 2 * n : place + 2 * n + 2]) for n in range(pairs)]
            place += 2 * pairs
            if place < len(text):
                found.append(_TO_B)
        else:
            if not found:
                found.append(_START_B)
            run = max(1, digits)
            found += [_symbol_b(character) for character in text[place : place + run]]
            place += run
    return [*found, _check(found)]


def modules_of(text: str) -> str:
    """The bars (1) and gaps (0) of this text, module by module, without quiet zones.

    >>> len(modules_of("1234")), modules_of("1234")[:11]
    (57, '11010011100')
    """
    widths = "".join(PATTERNS[symbol] for symbol in symbols_of(text)) + STOP
    return "".join(("0" if place % 2 else "1") * int(width) for place, width in enumerate(widths))


def module_count(text: str) -> int:
    """How many modules this text is wide, without quiet zones."""
    return _SYMBOL_MODULES * len(symbols_of(text)) + _STOP_MODULES


def _digits_from(text: str, place: int) -> int:
    end = place
    while end < len(text) and text[end].isdigit():
        end += 1
    return end - place


def _symbol_b(character: str) -> int:
    return ord(character) - 32


def _check(symbols: list[int]) -> int:
    return (symbols[0] + sum(n * symbol for n, symbol in enumerate(symbols[1:], start=1))) % _CHECK_BASE

"""What a stopper looks like on paper: an ink for its words, a figure for its pattern, a weave for its additive.

Nothing here decides anything. A colour that the words do not name is left white, and the words are always printed.
"""

from __future__ import annotations

import re

from cubital.paper.surface import INK, WHITE, Corner, Rgb, Surface

_INKS: dict[str, Rgb] = {
    "red": (0.80, 0.22, 0.20), "blue": (0.27, 0.50, 0.75), "green": (0.25, 0.58, 0.38), "grey": (0.58, 0.59, 0.61),
    "gray": (0.58, 0.59, 0.61), "yellow": (0.93, 0.79, 0.27), "violet": (0.53, 0.36, 0.65),
    "purple": (0.53, 0.36, 0.65),
    "lavender": (0.70, 0.60, 0.82), "pink": (0.91, 0.62, 0.69), "rose": (0.88, 0.50, 0.58), "amber": (0.87, 0.62, 0.22),
    "gold": (0.82, 0.65, 0.26), "orange": (0.91, 0.53, 0.22), "mint": (0.62, 0.83, 0.70), "brown": (0.52, 0.38, 0.28),
    "tan": (0.80, 0.68, 0.52), "black": (0.22, 0.22, 0.24), "white": WHITE, "clear": WHITE, "navy": (0.18, 0.25, 0.47),
}  # fmt: skip
_PALER, _DARKER = ("pale", "light"), ("dark", "royal", "deep")
_FIGURES = {
    "ribbed": "ribs", "ribs": "ribs", "striped": "ribs", "stripes": "ribs", "ring": "ring", "ringed": "ring",
    "dots": "dots", "dotted": "dots", "spotted": "dots", "marble": "dots", "marbled": "dots", "checked": "checks",
}  # fmt: skip
# The weave of each family of additives, on the collar of every tube: it tells families apart without any colour.
WEAVES: dict[str, str] = {
    "culture": "lattice", "sps": "lattice", "citrate": "bars", "none": "bare", "clot-activator": "slant",
    "thrombin": "slant", "heparin": "lines", "edta": "dots", "acd": "zigzag", "fluoride": "checks",
}  # fmt: skip
WEAVE_WORDS: dict[str, str] = {
    "lattice": "lattice", "bars": "bars", "bare": "bare", "slant": "slant", "lines": "lines", "dots": "dots",
    "zigzag": "zigzag", "checks": "checks",
}  # fmt: skip


def ink_of(stopper: str | None) -> Rgb:
    """The ink of a stopper by the first colour among its words; white where they name none.

    >>> ink_of("letters ACD") == WHITE, ink_of("pale blue, ribbed") == ink_of("blue")
    (True, False)
    """
    words = re.findall(r"[a-z]+", (stopper or "").casefold())
    for place, word in enumerate(words):
        if word in _INKS:
            before = words[place - 1] if place else ""
            mix = (1.0, 0.45) if before in _PALER else (0.0, 0.35) if before in _DARKER else (0.0, 0.0)
            red, green, blue = (c + (mix[0] - c) * mix[1] for c in _INKS[word])
            return red, green, blue
    return WHITE


def figure_of(stopper: str | None) -> str:
    """The figure that a stopper's words give it: ribs, ring, dots, checks or nothing.

    >>> figure_of("grey, dots"), figure_of("violet")
    ('dots', '')
    """
    words = re.findall(r"[a-z]+", (stopper or "").casefold())
    return next((_FIGURES[word] for word in words if word in _FIGURES), "")


def draw_weave(surface: Surface, corner: Corner, family: str) -> None:
    """Weave a family's figure into this box: line art, so that it copies and faxes."""
    surface.box(corner, fill=WHITE)
    with surface.clipped(corner):
        _WEAVERS[WEAVES.get(family, "bare")](surface, corner)
    surface.box(corner, edge=INK, line_mm=0.25)


def draw_figure(surface: Surface, corner: Corner, figure: str) -> None:
    """Draw a stopper's own figure over its ink."""
    with surface.clipped(corner, radius_mm=0.8):
        if figure == "ribs":
            _bars(surface, corner, pitch=1.1, line_mm=0.3)
        elif figure == "ring":
            x = corner.x + corner.width * 0.12
            surface.box(Corner(x, corner.y, corner.width * 0.12, corner.height), fill=WHITE, edge=INK, line_mm=0.25)
        elif figure == "dots":
            _dots(surface, corner)
        elif figure == "checks":
            _checks(surface, corner)


def _bars(surface: Surface, corner: Corner, pitch: float = 0.9, line_mm: float = 0.35) -> None:
    x = corner.x + pitch / 2
    while x < corner.right:
        surface.line(x, corner.y, x, corner.bottom, line_mm=line_mm)
        x += pitch


def _lines(surface: Surface, corner: Corner) -> None:
    y = corner.y + 0.5
    while y < corner.bottom:
        surface.line(corner.x, y, corner.right, y, line_mm=0.3)
        y += 1.0


def _slant(surface: Surface, corner: Corner, *, pitch: float = 1.2) -> None:
    x = corner.x - corner.height
    while x < corner.right:
        surface.line(x, corner.bottom, x + corner.height, corner.y, line_mm=0.25)
        x += pitch


def _lattice(surface: Surface, corner: Corner) -> None:
    _slant(surface, corner, pitch=1.5)
    x = corner.x - corner.height
    while x < corner.right:
        surface.line(x, corner.y, x + corner.height, corner.bottom, line_mm=0.25)
        x += 1.5


def _dots(surface: Surface, corner: Corner) -> None:
    y, odd = corner.y + 0.55, False
    while y < corner.bottom:
        x = corner.x + (1.1 if odd else 0.55)
        while x < corner.right:
            surface.disc(x, y, 0.28, fill=INK)
            x += 1.1
        y, odd = y + 0.95, not odd


def _checks(surface: Surface, corner: Corner) -> None:
    side, row = 1.0, 0
    while row * side < corner.height:
        column = row % 2
        while column * side < corner.width:
            surface.box(Corner(corner.x + column * side, corner.y + row * side, side, side), fill=INK)
            column += 2
        row += 1


def _zigzag(surface: Surface, corner: Corner) -> None:
    y = corner.y + 0.2
    while y < corner.bottom + 1:
        x, step = corner.x, corner.width / 4
        for turn in range(4):
            up, down = (y, y - 0.9) if turn % 2 == 0 else (y - 0.9, y)
            surface.line(x, up, x + step, down, line_mm=0.25)
            x += step
        y += 1.3


def _bare(surface: Surface, corner: Corner) -> None:
    """Nothing: a tube without additive has a bare collar."""


_WEAVERS = {
    "lattice": _lattice, "bars": _bars, "bare": _bare, "slant": _slant, "lines": _lines, "dots": _dots,
    "zigzag": _zigzag, "checks": _checks,
}  # fmt: skip

"""A tube drawn on its side, as the terminal draws it: cap with its letters, collar, blood, liquid, gel, fill line."""

from __future__ import annotations

import msgspec

from cubital.paper.ink import draw_figure, draw_weave, figure_of, ink_of
from cubital.paper.surface import CAPITAL, INK, POINTS_PER_MM, WHITE, Corner, Rgb, Surface, width_mm

BLOOD: Rgb = (0.74, 0.33, 0.32)
LIQUID: Rgb = (0.84, 0.90, 0.94)
# The share of the glass that a tube filled to its mark fills.
FULL = 0.86
CAP, COLLAR, GEL = 9.5, 3.2, 2.2
LEAST_GLASS, GLASS_PER_ML = 13.0, 3.3


class TubePicture(msgspec.Struct, frozen=True, kw_only=True):
    """What of a tube is drawn; volumes in whole microlitres, `blood_ul` 0 for an empty tube of a card.

    `size_ul` is the size of a tube that is filled in part, None where it is filled to its draw.
    """

    mark: str
    family: str
    stopper: str | None
    gel: bool
    blood_ul: int
    liquid_ul: int = 0
    is_discarded: bool = False
    is_bottle: bool = False
    size_ul: int | None = None


def length_mm(picture: TubePicture, most_mm: float) -> float:
    """How long the tube is drawn: a larger tube is longer, up to `most_mm`."""
    volume_ml = ((picture.size_ul or picture.blood_ul) + picture.liquid_ul) / 1000
    return min(most_mm, CAP + COLLAR + LEAST_GLASS + GLASS_PER_ML * volume_ml)


def draw_tube(surface: Surface, corner: Corner, picture: TubePicture) -> float | None:
    """Draw the tube into this box, its cap at the left; where its fill line stands, None where it is drawn empty."""
    if not picture.mark and picture.is_discarded:
        _draw_syringe(surface, corner)
        return None
    cap = min(CAP, corner.width * 0.26)
    collar = min(COLLAR, corner.width * 0.09)
    inset = corner.height * (0.02 if picture.is_bottle else 0.1)
    glass = Corner(corner.x + cap + collar, corner.y + inset, corner.width - cap - collar, corner.height - 2 * inset)
    fill_x = _draw_glass(surface, glass, picture)
    neck = corner.height * 0.26 if picture.is_bottle else inset
    draw_weave(surface, Corner(corner.x + cap, corner.y + neck, collar, corner.height - 2 * neck), picture.family)
    draw_cap(surface, Corner(corner.x, corner.y, cap, corner.height), picture.mark, picture.stopper)
    return fill_x


def draw_cap(surface: Surface, corner: Corner, mark: str, stopper: str | None) -> None:
    """Draw a cap in the ink and the figure of its stopper, its letters on a white plate."""
    surface.box(corner, fill=ink_of(stopper), radius_mm=0.8)
    draw_figure(surface, corner, figure_of(stopper))
    surface.box(corner, edge=INK, line_mm=0.35, radius_mm=0.8)
    letters = mark or "--"
    size_pt = min(12.0, corner.height * 0.52 * POINTS_PER_MM / CAPITAL, corner.width * 5.2 / max(2, len(letters)))
    plate_width = width_mm(letters, size_pt, bold=True) + 1.2
    plate_height = size_pt * CAPITAL / POINTS_PER_MM + 1.2
    middle_x, middle_y = corner.x + corner.width / 2, corner.y + corner.height / 2
    plate = Corner(middle_x - plate_width / 2, middle_y - plate_height / 2, plate_width, plate_height)
    surface.box(plate, fill=WHITE, edge=INK, line_mm=0.2, radius_mm=0.5)
    baseline = middle_y + size_pt * CAPITAL / POINTS_PER_MM / 2
    surface.text(middle_x, baseline, letters, size_pt, bold=True, align="middle")


def _draw_glass(surface: Surface, glass: Corner, picture: TubePicture) -> float | None:
    """The glass and what is in it, from the closed end at the right: liquid, gel, blood, air."""
    radius = glass.height * (0.18 if picture.is_bottle else 0.5)
    # The open end is square: the rounded box begins inside the collar, which is drawn over it.
    body = Corner(glass.x - radius, glass.y, glass.width + radius, glass.height)
    surface.box(body, fill=WHITE, radius_mm=radius)
    fill_x = None
    with surface.clipped(body, radius_mm=radius):
        if picture.is_bottle and picture.blood_ul:
            _draw_broth(surface, glass)
        elif picture.blood_ul:
            share = picture.blood_ul / picture.size_ul if picture.size_ul else 1.0
            fill_x = glass.right - FULL * glass.width * share
            _draw_content(surface, Corner(fill_x, glass.y, glass.right - fill_x, glass.height), picture)
        elif picture.liquid_ul:
            _draw_liquid(surface, Corner(glass.right - 6.0, glass.y, 6.0, glass.height))
        elif picture.gel:
            surface.box(Corner(glass.right - GEL - glass.height / 2, glass.y, GEL, glass.height), fill=(0.8, 0.8, 0.82))
    surface.box(body, edge=INK, line_mm=0.35, radius_mm=radius)
    if picture.blood_ul and not picture.is_discarded and fill_x is not None:
        surface.line(fill_x, glass.y - 1.3, fill_x, glass.bottom + 1.3, line_mm=0.5)
        surface.shape([(fill_x - 1.1, glass.y - 2.5), (fill_x + 1.1, glass.y - 2.5), (fill_x, glass.y - 0.9)], fill=INK)
    return fill_x


def _draw_content(surface: Surface, inside: Corner, picture: TubePicture) -> None:
    whole_ul = picture.blood_ul + picture.liquid_ul
    liquid = max(1.6, inside.width * picture.liquid_ul / whole_ul) if picture.liquid_ul else 0.0
    gel = GEL if picture.gel else 0.0
    ends = inside.height / 2 if picture.gel or picture.liquid_ul else 0.0
    blood = Corner(inside.x, inside.y, inside.width - liquid - gel - ends * 0.5, inside.height)
    if picture.is_discarded:
        _hatch(surface, inside)
        return
    surface.box(inside if not (gel or liquid) else blood, fill=BLOOD)
    if gel:
        plug = Corner(blood.right, inside.y, gel + ends, inside.height)
        surface.box(plug, fill=(0.86, 0.86, 0.88), edge=INK, line_mm=0.2)
        for step in range(1, 6):
            y = plug.y + plug.height * step / 6
            surface.line(plug.x, y, plug.right, y, line_mm=0.15)
    if liquid:
        pool = Corner(blood.right + (gel and gel + ends), inside.y, liquid + ends, inside.height)
        _draw_liquid(surface, pool)


def _draw_liquid(surface: Surface, pool: Corner) -> None:
    """The additive that is already inside, a row of dots where it begins."""
    surface.box(pool, fill=LIQUID, edge=INK, line_mm=0.2)
    for step in range(1, 7):
        surface.disc(pool.x + 0.9, pool.y + pool.height * step / 7, 0.22, fill=INK)


def _draw_broth(surface: Surface, glass: Corner) -> None:
    """A bottle holds broth already: how high the blood stands in it says nothing, so no line is drawn."""
    broth = Corner(glass.x + glass.width * 0.42, glass.y, glass.width * 0.58, glass.height)
    surface.box(Corner(glass.x + glass.width * 0.14, glass.y, glass.width * 0.28, glass.height), fill=BLOOD)
    surface.box(broth, fill=LIQUID)
    surface.line(broth.x, broth.y, broth.x, broth.bottom, line_mm=0.2)
    for column in range(int(broth.width / 3)):
        for row in range(3):
            x, y = broth.x + 1.8 + column * 3, broth.y + broth.height * (row + 0.7) / 3.4
            surface.disc(x + (1.5 if row % 2 else 0), y, 0.22, fill=INK)


def _draw_syringe(surface: Surface, corner: Corner) -> None:
    """A syringe that is thrown away: nozzle at the left, blood hatched, plunger drawn back at the right."""
    middle = corner.y + corner.height / 2
    barrel = Corner(corner.x + 5, corner.y + corner.height * 0.12, corner.width * 0.72, corner.height * 0.76)
    surface.box(Corner(corner.x, middle - 0.9, 5, 1.8), fill=WHITE, edge=INK, line_mm=0.35)
    surface.box(Corner(barrel.right, middle - 0.8, corner.right - barrel.right - 1.2, 1.6), edge=INK, line_mm=0.35)
    surface.box(Corner(corner.right - 1.2, corner.y + 1.5, 1.2, corner.height - 3), fill=INK)
    surface.box(barrel, fill=WHITE)
    with surface.clipped(barrel):
        _hatch(surface, Corner(barrel.x, barrel.y, barrel.width - 6, barrel.height))
    surface.box(Corner(barrel.right - 6, barrel.y, 2.2, barrel.height), fill=INK)
    surface.box(barrel, edge=INK, line_mm=0.35)
    surface.box(Corner(barrel.right - 0.4, corner.y - 0.4, 0.8, corner.height + 0.8), fill=INK)


def _hatch(surface: Surface, inside: Corner) -> None:
    x = inside.x - inside.height
    while x < inside.right:
        surface.line(x, inside.bottom, x + inside.height, inside.y, line_mm=0.3)
        x += 2.2

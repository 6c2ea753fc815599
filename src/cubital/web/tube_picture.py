"""A tube as numbers for its drawing: on its side, cap with its letters at the left, as the tray and the paper draw it.

Nothing here decides anything. The ink is the stopper's own word; letters, weave and figure say the same without it.
"""

from __future__ import annotations

import msgspec

from cubital import facts
from cubital.app.tray import TubeRow
from cubital.model import PlannedTube
from cubital.paper.ink import WEAVES, figure_of, ink_of

TOP, HEIGHT = 12, 52
CAP, COLLAR = 58, 17
LEAST_GLASS, GLASS_PER_ML, MOST_GLASS = 92.0, 15.5, 250.0
# The share of the glass that a tube filled to its mark fills.
FULL = 0.84
GEL, LEAST_LIQUID = 16.0, 14.0


class TubePicture(msgspec.Struct, frozen=True, kw_only=True):
    """A tube as the paths of its parts, in units of the drawing; an empty path is not drawn.

    Content lies from the closed end at the right: liquid additive, gel, blood up to `fill_x`, air. `content` is what
    the blood is: `blood`, or `waste` where it is thrown away.
    """

    form: str
    content: str
    mark: str
    ink: str
    figure: str
    weave: str
    width: float
    glass_x: float
    glass: str
    blood: str
    gel: str
    liquid: str
    fill_x: float
    words: str


def picture_of(tube: PlannedTube, row: TubeRow) -> TubePicture:
    """The drawing of one planned tube; a larger tube is longer, up to ten millilitres."""
    return _picture(tube, _words(row, _form_of(tube)))


def picture_of_kind(tube: PlannedTube) -> TubePicture:
    """The drawing of a tube that stands for its kind: nobody is to fill it."""
    stopper = f", stopper {tube.stopper}" if tube.stopper else ""
    return _picture(tube, f"{tube.name}, letters {tube.mark}{stopper}")


def _picture(tube: PlannedTube, words: str) -> TubePicture:
    form = _form_of(tube)
    size_ul = tube.size_ul or tube.draw_ul
    volume_ml = (size_ul + tube.liquid_additive_ul) / 1000
    glass_w = min(MOST_GLASS, LEAST_GLASS + GLASS_PER_ML * volume_ml)
    glass_x = float(CAP + COLLAR)
    right = glass_x + glass_w
    liquid_x = gel_x = right
    if form == "tube" and tube.liquid_additive_ul:
        liquid_x -= max(LEAST_LIQUID, FULL * glass_w * tube.liquid_additive_ul / (volume_ml * 1000))
    if form == "tube" and tube.gel:
        gel_x = liquid_x - GEL
    fill_x = right - FULL * glass_w * tube.draw_ul / size_ul
    is_bottle = form == "bottle"
    return TubePicture(
        form=form, content="waste" if tube.purpose == "discard" and not tube.returned else "blood",
        mark=tube.mark or "--", ink=hex_of(tube.stopper), figure=figure_of(tube.stopper),
        weave=WEAVES.get(facts.additives()[tube.additive].family, "bare"), width=right + 4, glass_x=glass_x,
        glass=_end(glass_x, right, is_bottle=is_bottle),
        blood=_end(glass_x + 0.42 * glass_w if is_bottle else fill_x, right, is_bottle=is_bottle),
        gel=_end(gel_x, right) if gel_x < liquid_x else "",
        liquid=_end(glass_x + 0.62 * glass_w if is_bottle else liquid_x, right, is_bottle=is_bottle)
        if is_bottle or liquid_x < right else "",
        fill_x=fill_x, words=words,
    )  # fmt: skip


def _end(x: float, right: float, *, is_bottle: bool = False) -> str:
    """The closed end of the glass from `x` on: round, or of a bottle with rounded corners."""
    radius = 11.0 if is_bottle else HEIGHT / 2
    top, bottom = TOP, TOP + HEIGHT
    bend = right - radius
    if x <= bend:
        foot = "" if is_bottle else f"A{radius:g} {radius:g} 0 0 1 {bend:.1f} {bottom}"
        corners = foot or (
            f"A{radius:g} {radius:g} 0 0 1 {right:.1f} {top + radius:g}V{bottom - radius:g}"
            f"A{radius:g} {radius:g} 0 0 1 {bend:.1f} {bottom}"
        )
        return f"M{x:.1f} {top}H{bend:.1f}{corners}H{x:.1f}Z"
    half = (radius**2 - (x - bend) ** 2) ** 0.5
    middle = top + HEIGHT / 2
    return f"M{x:.1f} {middle - half:.1f}A{radius:g} {radius:g} 0 0 1 {x:.1f} {middle + half:.1f}Z"


def hex_of(stopper: str | None) -> str:
    """The ink of a stopper's first colour word; white where it names none.

    >>> hex_of("violet"), hex_of(None)
    ('#875ca6', '#ffffff')
    """
    return "#" + "".join(f"{round(255 * part):02x}" for part in ink_of(stopper))


def _form_of(tube: PlannedTube) -> str:
    if tube.purpose == "discard":
        return "discard" if tube.mark else "syringe"
    return "bottle" if tube.purpose == "culture" else "tube"


def _words(row: TubeRow, form: str) -> str:
    """The drawing in words, for whoever does not see it."""
    syringe = "Syringe that is given back" if row.is_returned else "Discard syringe"
    kinds = {"tube": "Tube", "bottle": "Bottle", "discard": "Discard tube", "syringe": syringe}
    stopper = f", stopper {row.stopper}" if row.stopper else ""
    letters = f", letters {row.mark}" if row.mark else ""
    fill = f", filled to its line, {row.size}" if form == "tube" else ""
    if row.size_ul is not None:
        fill = f", filled in part, {row.size}"
    return f"{kinds[form]}{letters}{stopper}{fill}"

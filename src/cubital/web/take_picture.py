"""A tube for the chair: upright, cap on top, as it stands when it fills; what `tube_picture` draws on its side."""

from __future__ import annotations

import msgspec

from cubital.app.taking_steps import least_fill_ul
from cubital.app.tray import TubeRow
from cubital.model import PlannedTube
from cubital.web.tube_picture import FULL, TubePicture, picture_of

# Room for the words of the least fill under those of the line.
LEAST_BELOW = 30.0


class UprightTube(msgspec.Struct, frozen=True, kw_only=True):
    """The picture, how high it stands, and where the least fill that is accepted lies; None where none is known.

    `words_y` is where the words of the least fill stand, clear of those of the fill line.
    """

    picture: TubePicture
    height: float
    least_y: float | None
    words_y: float


def upright(tube: PlannedTube, row: TubeRow) -> UprightTube:
    """The drawing of one tube of a draw in hand."""
    picture = picture_of(tube, row)
    least_ul = least_fill_ul(tube) if picture.form == "tube" else None
    least_y = None
    if least_ul is not None:
        bottom = picture.width - 4
        inside = (least_ul + tube.liquid_additive_ul) / (tube.draw_ul + tube.liquid_additive_ul)
        least_y = bottom - FULL * (bottom - picture.glass_x) * inside
    return UprightTube(
        picture=picture, height=picture.width + 6, least_y=least_y,
        words_y=max(least_y or 0.0, picture.fill_x + LEAST_BELOW),
    )  # fmt: skip

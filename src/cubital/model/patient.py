"""What a plan needs to know of a patient, and no more: no name, no number."""

from __future__ import annotations

from fractions import Fraction

import msgspec

from cubital.model.vocabulary import SexKey


class Recorded(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """What the record of specimens holds of a patient's blood drawn in the last so many hours, in all."""

    period_h: int
    volume_ul: int


class Patient(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """The facts of one patient that change a draw; what is not known is None.

    `drawn_ul` is the blood already drawn in the shortest period of the site's limit, a day as a rule; `flags` are
    words such as `anticoagulated` or `latex-allergy`, kept in the order they were given. `recorded` is what the record
    of specimens has by the periods of the limit's caps, the shortest first; empty where no record was looked at.
    """

    age_h: int | None = None
    sex: SexKey | None = None
    weight_g: int | None = None
    height_mm: int | None = None
    hematocrit: Fraction | None = None
    drawn_ul: int = 0
    flags: tuple[str, ...] = ()
    recorded: tuple[Recorded, ...] = ()

"""All that composing a plan may see of an order, and so the key under which plans are kept."""

from __future__ import annotations

from datetime import date

import msgspec

from cubital import facts
from cubital.errors import OrderError
from cubital.model import Line, Order, Site
from cubital.model.vocabulary import AccessKey
from cubital.planning.bedside import AssumedHematocrit
from cubital.planning.culture_need import CultureNeed, culture_need
from cubital.planning.moments import Timetable
from cubital.planning.patient import ADULT_D, HOURS_A_YEAR, NEWBORN_D

NO_LINE = Line()


class Circumstances(msgspec.Struct, frozen=True, gc=False):
    """What of an order and its patient decides the tubes, beside the tests and the blood that may be taken.

    Composing is given this and never the order, so a plan that is kept under it cannot hold what belongs to one
    patient alone. A fact that composing needs is added here, and is then part of the key at once. `culture` is what
    weight and age ask of a blood culture, None where none is asked. `timetable` says the moments of
    its draws and which test is drawn when; `travel_min` is how long its tubes travel, None where that is not known.
    `spares_blood` opens the micro tubes; `has_mothers_sample` is whether the mother's sample may stand for the
    infant's.
    """

    access: AccessKey
    on: date | None
    line: Line
    hematocrit: AssumedHematocrit
    flags: tuple[str, ...]
    unread: tuple[str, ...]
    is_newborn: bool
    has_mothers_sample: bool
    culture: CultureNeed | None
    timetable: Timetable
    travel_min: int | None
    spares_blood: bool


def circumstances_of(
    order: Order, site: Site, hematocrit: AssumedHematocrit, timetable: Timetable, *, has_culture: bool
) -> Circumstances:
    """The circumstances of this order; raises `PlanError` for a culture of a child whose weight is not known."""
    patient = order.patient
    is_newborn, has_mothers_sample, is_child = _age_traits(patient.age_h)
    return Circumstances(
        order.access,
        order.on,
        order.line if order.access == "line" else NO_LINE,
        hematocrit,
        patient.flags,
        order.unread,
        is_newborn,
        has_mothers_sample,
        culture_need(patient) if has_culture else None,
        timetable,
        site.planning.usual_travel_min if order.place is None else travel_min(order.place, site),
        is_child or order.access == "skin-puncture",
    )


def _age_traits(age_h: int | None) -> tuple[bool, bool, bool]:
    """Whether the patient is known to be a newborn, young enough for the mother's sample, and not grown."""
    if age_h is None or age_h >= 24 * ADULT_D:
        return False, False, False
    months = facts.safety()["mothers-sample"].warn_to_months or 0
    return age_h < 24 * NEWBORN_D, 12 * age_h < months * HOURS_A_YEAR, True


def travel_min(place: str, site: Site) -> int:
    """How long tubes travel from this place of collection, in minutes; raises `OrderError` where the site has none."""
    found = site.planning.travel_min.get(place)
    if found is None:
        known = ", ".join(site.planning.travel_min) or "none"
        raise OrderError(
            f"found the place {place!r}; expected one whose travel time the site gives ({known}); "
            "correct it, or write it in site.toml [travel]",
            where="place",
        )
    return found

"""The circumstances of an order at a site, as the planner makes them."""

from __future__ import annotations

from cubital.model import Order, Site
from cubital.planning.asks import resolve_asks
from cubital.planning.bedside import Bedside
from cubital.planning.circumstances import Circumstances, circumstances_of
from cubital.planning.culture_need import culture_need
from cubital.planning.cultures import Bottles, CulturePlan, plan_cultures
from cubital.planning.directory import Directory
from cubital.planning.moments import Timetable, arrange


def circumstances_at(order: Order, site: Site) -> Circumstances:
    asked = resolve_asks(order, site, Directory(site))
    arrangement = arrange(asked, site, now=None, events=())
    timetable = Timetable(arrangement.slots, arrangement.slot_of)
    return circumstances_of(order, site, Bedside(site).hematocrit(order.patient), timetable, has_culture=True)


def shelf_of(order: Order, site: Site) -> Bottles:
    return Bottles(site, circumstances_at(order, site))


def cultures_of(what: str, order: Order, site: Site, shelf: Bottles | None = None) -> CulturePlan:
    """The bottles of one culture of this order, from this shelf or a full one."""
    return plan_cultures(what, culture_need(order.patient), order.access, shelf or shelf_of(order, site))

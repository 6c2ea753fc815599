"""Order to plan: which tubes, proved least, in the right order, with the reasons."""

from __future__ import annotations

from typing import TYPE_CHECKING

from cubital.planning.plan import Planner

if TYPE_CHECKING:
    from cubital.model import Order, Plan, Site

__all__ = ["Planner", "plan_draw"]

_last: list[Planner] = []


def plan_draw(order: Order, site: Site) -> Plan:
    """The plan for this order at this site.

    The last site's planner is kept, so many orders of one site cost its index once. Raises
    `OrderError` for an order that cannot be read and `PlanError` for one the site cannot serve.
    """
    if not _last or _last[0].site is not site:
        _last[:] = [Planner(site)]
    return _last[0].plan(order)

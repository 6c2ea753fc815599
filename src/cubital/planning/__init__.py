"""Order to plan: which tubes, proved least, in the right order, with the reasons."""

from __future__ import annotations

from threading import Lock
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from cubital.model import Order, Plan, Site
    from cubital.planning.directory import Directory
    from cubital.planning.plan import Planner

__all__ = ["Planner", "directory_of", "plan_draw"]

_last: list[Planner] = []
_LOCK = Lock()


def plan_draw(order: Order, site: Site) -> Plan:
    """The plan for this order at this site.

    The last site's planner is kept, so many orders of one site cost its index once. Threads take turns: what a
    planner keeps is not made for two at a time. Raises `OrderError` for an order that cannot be read and
    `PlanError` for one the site cannot serve.
    """
    with _LOCK:
        return _planner_of(site).plan(order)


def directory_of(site: Site) -> Directory:
    """The directory of the planner that is kept for this site."""
    with _LOCK:
        return _planner_of(site).directory


def __getattr__(name: str) -> type[Planner]:
    """The planner, read when it is first asked for: a search of the directory needs none."""
    if name != "Planner":
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from cubital.planning.plan import Planner

    return Planner


def _planner_of(site: Site) -> Planner:
    from cubital.planning.plan import Planner

    planner = _last[0] if _last else None
    if planner is None or planner.site is not site:
        planner = Planner(site)
        _last[:] = [planner]
    return planner

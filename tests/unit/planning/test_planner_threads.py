"""Several stations plan at once: each gets the draw of its own site, and one planner plans one order at a time."""

from __future__ import annotations

import datetime
import threading
import time
from concurrent.futures import ThreadPoolExecutor

import pytest
from msgspec.structs import replace

from cubital import planning
from cubital.app.wiring import open_site
from cubital.model import Ask, Order, Plan
from cubital.planning import plan as plan_module
from cubital.planning import plan_draw

ORDER = Order(asks=(Ask(test="K"), Ask(test="CBC")), on=datetime.date(2026, 11, 25))


def test_stations_of_two_sites_get_each_the_draw_of_its_own_one_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    inside, most = 0, 0
    count = threading.Lock()

    class Slow(plan_module.Planner):
        def plan(self, order: Order) -> Plan:
            nonlocal inside, most
            with count:
                inside += 1
                most = max(most, inside)
            time.sleep(0.002)
            found = super().plan(order)
            with count:
                inside -= 1
            return found

    monkeypatch.setattr(plan_module, "Planner", Slow)
    monkeypatch.setattr(planning, "_last", [])
    one = open_site(demo=True)
    sites = [one, replace(one, name="another site (invented)")]
    with ThreadPoolExecutor(8) as stations:
        plans = list(stations.map(lambda n: plan_draw(ORDER, sites[n % 2]), range(16)))
    assert [plan.site for plan in plans] == [sites[n % 2].name for n in range(16)]
    assert most == 1

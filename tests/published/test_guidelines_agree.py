"""What WHO 2010, CLSI GP41 and EFLM 2018 agree on (marks at each policy): culture first; citrate before clot-activator
and gel serum; serum before heparin; heparin before EDTA; EDTA before fluoride/oxalate. Common practice agrees too.
"""

from __future__ import annotations

from itertools import combinations

import pytest

from tests.published.shipped import kinds_drawn, order_of, site_of_kinds

AGREED = ["citrate", "serum", "serum-gel", "sodium-heparin", "edta", "fluoride-oxalate"]


@pytest.mark.parametrize("policy", ["who-2010", "clsi-gp41", "eflm-2018", "common-practice"])
def test_every_pair_that_they_agree_on_is_drawn_in_that_order(policy: str) -> None:
    site = site_of_kinds(policy, blood_limit=None)
    for first, second in combinations(AGREED, 2):
        assert kinds_drawn(order_of(second, first), site) == [first, second]
    for kind in AGREED:
        assert kinds_drawn(order_of(kind, "culture"), site)[0].startswith("culture")

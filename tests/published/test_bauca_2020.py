"""Bauca and others 2020 (abstract read): alanine aminotransferase of separated serum falls 4 % a day at room
temperature and 1 % a day in the cold, straight. Check 33.
"""

from __future__ import annotations

import pytest

from cubital.facts.keeping import StorageKey
from cubital.handling.drift import drifted, drifts_of
from tests.published.shipped import within


@pytest.mark.parametrize(("storage", "days", "left"), [("cold", 7, 93), ("ambient", 3, 88)])
def test_a_hundred_units_fall_to_what_was_measured(storage: StorageKey, days: int, left: float) -> None:
    (drift,) = drifts_of("alanine-aminotransferase", "clot-activator", "off-cells", storage)
    found = drifted(100, drift, 1440 * days)
    assert found is not None
    assert within(found[0], left, 1)

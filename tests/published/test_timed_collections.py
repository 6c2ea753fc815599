"""Times of collection. Australian Prescriber on drug monitoring (read): digoxin never within 6 h of a dose, troughs of
antiepileptics. From memory: WHO 2006 (75 g tolerance test at 0 and 120 min), IADPSG 2010 (0, 60, 120 min), ESC 2023
(troponin 0/1 h and 0/3 h). Read here from whole plans.
"""

from __future__ import annotations

import pytest

from tests.published.shipped import SHIPPED, order_of, verified


@pytest.mark.parametrize(
    ("panel", "minutes"),
    [
        ("glucose-tolerance-75-g", [0, 120]),
        ("glucose-tolerance-75-g-pregnancy", [0, 60, 120]),
        ("glucose-tolerance-100-g", [0, 60, 120, 180]),
        ("troponin-t-0-1-h", [0, 60]),
        ("troponin-t-0-3-h", [0, 180]),
        ("corticotropin-stimulation", [0, 30, 60]),
        ("growth-hormone-suppression", [0, 30, 60, 90, 120]),
    ],
)
def test_a_series_becomes_a_draw_at_each_of_its_times(panel: str, minutes: list[int]) -> None:
    plan = verified(order_of(panel), SHIPPED)
    assert [draw.at_min for draw in plan.draws] == minutes
    for draw in plan.draws:
        assert any(tube.draw == draw.number for tube in plan.tubes)


@pytest.mark.parametrize(
    ("test", "label", "said", "asked"),
    [
        ("digoxin", "6 h or more after the dose", "at least 6 h after the dose", "the last dose of digoxin"),
        ("phenytoin", "trough", "at most 1 h before the next dose", "the next dose of phenytoin"),
        ("carbamazepine", "trough", "at most 1 h before the next dose", "the next dose of carbamazepine"),
        ("valproate", "trough", "at most 1 h before the next dose", "the next dose of valproate"),
        ("lithium", "12 h after the dose", "10 h to 14 h after the dose", "the last dose of lithium"),
        ("gentamicin-peak", "30 min after the infusion", "25 min to 35 min after the end", "infusion of gentamicin"),
        ("acetaminophen", "4 h or more after the ingestion", "at least 4 h after the ingestion", "acetaminophen was"),
    ],
)
def test_a_plan_says_when_the_blood_is_to_be_taken_and_asks_the_time_of_the_dose(
    test: str, label: str, said: str, asked: str
) -> None:
    (draw,) = verified(order_of(test), SHIPPED).draws
    assert label in draw.label
    assert said in draw.moment
    assert any(asked in ask for ask in draw.asks)


@pytest.mark.parametrize(
    "panel", ["glucose-tolerance-75-g", "glucose-tolerance-75-g-pregnancy", "glucose-tolerance-100-g"]
)
def test_a_tolerance_test_is_fasting_at_first_and_keeps_to_fluoride_throughout(panel: str) -> None:
    # Fluoride preserves glucose: common practice, no source.
    plan = verified(order_of(panel), SHIPPED)
    assert {tube.additive.split("-")[0] for tube in plan.tubes} == {"fluoride"}
    assert "fasting" in plan.tubes[0].handling
    assert any("ask whether the patient is fasting" in c.text for c in plan.cautions)

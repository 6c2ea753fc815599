"""Which screens a sample meets, and what a met screen does to the answer."""

from __future__ import annotations

from collections.abc import Mapping

import pytest

import cubital
from cubital.inference.screens import screens_met
from cubital.model.results import Earlier, Result, ResultSet


def sample(now: Mapping[str, float], before: Mapping[str, tuple[float, float]] | None = None) -> ResultSet:
    """Results now, and before them a value and how many hours ago it was."""
    return ResultSet(
        results=tuple(Result(analyte=key, value=value) for key, value in now.items()),
        previous=tuple(
            Earlier(analyte=key, value=value, hours_before=hours) for key, (value, hours) in (before or {}).items()
        ),
    )


def met(now: Mapping[str, float], before: Mapping[str, tuple[float, float]] | None = None) -> list[str]:
    return [screen.key for screen in screens_met(sample(now, before))]


@pytest.mark.parametrize(
    ("sodium", "chloride", "keys"),
    [
        (148, 105, ["citrate-by-chloride"]),
        (148, 101, ["citrate-by-chloride", "citrate-by-gap"]),
        (147.9, 95, []),
        (148, 105.1, []),
        (153, 106, ["citrate-by-gap"]),
        (153, 106.1, []),
    ],
)
def test_a_screen_of_values_is_met_at_its_limit_and_not_beside_it(
    sodium: float, chloride: float, keys: list[str]
) -> None:
    assert met({"sodium": sodium, "chloride": chloride}) == keys


@pytest.mark.parametrize(
    ("analyte", "before", "now", "keys"),
    [
        ("potassium", 4.3, 7.3, ["potassium-infusion"]),
        ("potassium", 4.3, 7.2, []),
        ("glucose", 5.1, 27.3, ["dextrose"]),
        ("glucose", 5.1, 27.2, []),
        ("calcium", 2.5, 1.9, ["saline-or-balanced-fluid"]),
        ("calcium", 2.5, 1.91, []),
    ],
)
def test_a_screen_of_changes_is_met_at_its_limit_and_not_beside_it(
    analyte: str, before: float, now: float, keys: list[str]
) -> None:
    assert met({analyte: now}, {analyte: (before, 12)}) == keys


def test_a_screen_of_changes_asks_for_an_earlier_result_of_the_last_week() -> None:
    assert met({"potassium": 7.5}) == []
    assert met({"potassium": 7.5}, {"sodium": (140, 12)}) == []
    assert met({"potassium": 7.5}, {"potassium": (4.0, 168)}) == ["potassium-infusion"]
    assert met({"potassium": 7.5}, {"potassium": (4.0, 168.1)}) == []


def test_of_several_earlier_results_the_last_counts() -> None:
    result = Result(analyte="potassium", value=7.5)
    before = [Earlier(analyte="potassium", value=v, hours_before=h) for v, h in ((4.0, 48), (6.9, 6), (4.1, 90))]
    assert screens_met(ResultSet(results=(result,), previous=tuple(before))) == ()


def test_nothing_is_met_where_a_result_is_missing_or_the_earlier_one_was_zero() -> None:
    assert met({"sodium": 155}) == []
    assert met({"chloride": 90}) == []
    assert met({"calcium": 0.5}, {"calcium": (0, 12)}) == []


def test_a_met_screen_is_never_nothing_found_and_says_why_and_what_is_not_trusted() -> None:
    found = cubital.suspect([sample({"sodium": 152, "chloride": 103, "potassium": 4.2})])[0]
    assert (found.verdict, found.redraw) == ("cannot tell", False)
    assert set(found.trusted) == {"potassium", "chloride"}
    said = [reason for reason in found.reasons if "published screen" in reason]
    assert len(said) == 2
    assert all("citrate is met (Lorde 2025): a sodium of 148 mmol/L" in reason for reason in said)


def test_a_cause_that_only_a_screen_names_is_given_no_share_of_another_one() -> None:
    found = cubital.suspect([sample({"sodium": 152, "chloride": 103, "potassium": 4.2})])[0]
    assert found.fraction.estimate is None
    assert found.moved == ()
    assert not any("lithium" in reason for reason in found.reasons)


def test_an_infusion_of_potassium_that_is_no_cause_here_is_told_by_its_screen() -> None:
    now = {"potassium": 7.4, "sodium": 139, "chloride": 106, "calcium": 2.3, "creatinine": 80}
    before = {"potassium": (4.2, 24.0), "sodium": (140, 24.0), "creatinine": (82, 24.0)}
    found = cubital.suspect([sample(now, before)])[0]
    assert found.redraw
    assert "potassium" not in found.trusted
    assert any("an infusion of potassium is met (Yang 2024)" in reason for reason in found.reasons)

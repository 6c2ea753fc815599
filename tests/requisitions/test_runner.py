"""The runner itself: a case that cannot be used is refused; one plan meets an expectation and another misses it."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

import msgspec
import pytest

from cubital.model import Bound, Caution, Choice, Draw, Plan, PlannedTube, Reason, Totals, Unplaced
from cubital.model.vocabulary import PurposeKey
from tests.requisitions.cases import BadCase, Case, read_cases
from tests.requisitions.checks import CHECKS, failures
from tests.requisitions.expectations import Due, Expect, holds
from tests.requisitions.test_requisitions import shortcomings

AT = datetime.fromisoformat
BAD = sorted((Path(__file__).parents[1] / "data" / "requisitions").glob("*.toml"))


@pytest.mark.parametrize("file", BAD, ids=lambda file: file.stem)
def test_a_case_that_cannot_be_used_is_refused_by_name(file: Path, tmp_path: Path) -> None:
    (tmp_path / "bad.toml").write_text(file.read_text(encoding="utf-8"), encoding="utf-8")
    with pytest.raises(BadCase) as refused:
        read_cases(tmp_path)
    assert holds(str(refused.value), file.stem.split("__")[1].replace("-", " "))
    assert str(refused.value).startswith(("bad.toml", "site:"))


def _row(
    number: int, draw: int, purpose: PurposeKey, kind: str, draw_ml: float, *tests: str, **fields: Any
) -> PlannedTube:
    return PlannedTube(
        position=number, draw=draw, purpose=purpose, kind=kind, name=kind, additive="", gel=False,
        draw_ul=round(1000 * draw_ml), tests=tests, **fields,
    )  # fmt: skip


# Written by hand, no planner's: two draws with a discard, a test in both, a test left out, a culture.
POOR = Plan(
    objective="fewest-tubes", volumes="typical", optimal=False, policy="", site="", access="winged-set",
    bound=Bound(tubes=4, blood_ul=0, preference=0, searched=0, finished=False),
    draws=(
        Draw(number=1, at_min=0, label="the first draw", steps=("new puncture",), asks=("time of the dose",),
             due_from=AT("2026-11-25T08:00+01:00"), due_to=AT("2026-11-25T09:00+01:00")),
        Draw(number=2, at_min=60, label="draw at 60 min"),
    ),
    tubes=(
        _row(1, 1, "discard", "citrate", 1.8),
        _row(2, 1, "collect", "citrate", 1.8, "prothrombin-time", "inr", handling=("full_tube",)),
        _row(3, 1, "collect", "heparin-gel", 1.1, "troponin-t"),
        _row(4, 1, "collect", "edta", 2.0, "complete-blood-count"),
        _row(1, 2, "collect", "heparin-gel", 1.1, "troponin-t"),
        _row(2, 2, "culture", "culture-aerobic", 2.0, "blood-culture"),
    ),
    totals=Totals(tubes=4, blood_ul=0, preference=0, all_tubes=6, all_blood_ul=0, limit_ul=9_799),
    unplaced=(Unplaced(test="ferritin", priority="routine", why="no room", needs="1 mL"),),
    choices=(Choice(keep="ferritin", left_out=("inr",), tubes=4, all_blood_ul=1, optimal=True),),
    cautions=(Caution(level="note", text="Press the site."),),
    reasons=(Reason(about="plan", text="blood before liking", basis="computed"),),
)  # fmt: skip
# One draw of one tube: nothing asked, nothing left out, a discard that goes back, within its limit and proved.
GOOD = msgspec.structs.replace(
    POOR,
    optimal=True,
    draws=(Draw(number=1, at_min=0, label="the draw"),),
    tubes=(
        _row(1, 1, "discard", "discard", 2.0, returned=True),
        _row(2, 1, "collect", "edta", 2.0, "complete-blood-count"),
    ),
    totals=Totals(tubes=1, blood_ul=0, preference=0, all_tubes=2, all_blood_ul=0, limit_ul=2_000),
    unplaced=(),
)
PT, COUNT, TROPONIN = "prothrombin-time", "complete-blood-count", "troponin-t"
# Of each key what the first plan meets, and what it misses.
PAIRS: dict[str, tuple[Any, Any]] = {
    "draws": (2, 3),
    "minutes": ((0, 60), (0, 120)),
    "draw_of": ({PT: 1}, {TROPONIN: 1}),
    "drawn_before": (((PT, "blood-culture"),), ((TROPONIN, "blood-culture"),)),
    "separate_draws": (((COUNT, "blood-culture"),), ((TROPONIN, "blood-culture"),)),
    "same_draw": (((PT, TROPONIN),), ((PT, "blood-culture"),)),
    "due": (
        (Due(draw=1, not_before=AT("2026-11-25T08:00+01:00"), not_after=AT("2026-11-25T09:00+01:00")),),
        (Due(draw=1, not_before=AT("2026-11-25T08:01+01:00")),),
    ),
    "tubes": (4, 6),
    "kinds": (("citrate", "edta", "heparin-gel", "heparin-gel|serum-gel"), ("citrate", "edta", "heparin-gel")),
    "kinds_in_order": (("citrate", "edta", "culture-aerobic"), ("edta", "citrate")),
    "first_kind": ("citrate", "edta"),
    "kind_of": ({PT: ("citrate", "edta")}, {PT: ("edta",)}),
    "not_in": ({PT: ("edta",)}, {PT: ("citrate", "edta")}),
    "same_kind": ((TROPONIN,), (PT,)),
    "handled": ({PT: ("full_tube",)}, {PT: ("ice",)}),
    "never_together": (((PT, COUNT),), ((PT, "inr"),)),
    "same_tube": (((PT, "inr"),), ((PT, COUNT),)),
    "left_out": (("ferritin",), (PT,)),
    "kept": ((PT,), ("ferritin",)),
    "offers": (("ferritin",), (PT,)),
    "blood_at_most_ml": (9.8, 9.7),
    "blood_at_least_ml": (6.0, 6.1),
    "sets": (1, 2),
    "culture_at_least_ml": (2.0, 2.1),
    "culture_at_most_ml": (2.0, 1.9),
    "discard": ("before-first", "returned"),
    "discards": (1, 2),
    "discard_at_least_ml": (1.8, 1.9),
    "discard_at_most_ml": (1.8, 1.7),
    "objective": ("fewest-tubes", "least-blood"),
    "says": (("site press", "ferritin room"), ("press ferritin",)),
    "never_says": (("press ferritin",), ("press site",)),
    "steps": (("new puncture",), ("dose",)),
    "asks": (("drink|dose time",), ("puncture",)),
    "reasons_say": (("liking blood",), ("puncture",)),
}
FLAGS = ("nothing_left_out", "within_limit", "optimal", "asks_nothing")


@pytest.mark.parametrize("key", PAIRS)
def test_an_expectation_is_met_by_what_the_plan_does_and_missed_by_what_it_does_not(key: str) -> None:
    met, missed = PAIRS[key]
    assert failures(Expect(**{key: met}), POOR) == []
    assert failures(Expect(**{key: missed}), POOR)


@pytest.mark.parametrize("key", FLAGS)
def test_a_flag_is_met_by_one_plan_and_missed_by_another(key: str) -> None:
    assert failures(Expect(**{key: True}), GOOD) == []  # type: ignore[arg-type]
    assert failures(Expect(**{key: True}), POOR)  # type: ignore[arg-type]


def test_a_discard_that_goes_back_is_neither_none_nor_lost() -> None:
    assert failures(Expect(discard="returned", discard_at_most_ml=0.1, blood_at_most_ml=2.0), GOOD) == []
    assert failures(Expect(discard="none"), GOOD)


def test_every_expectation_is_tried_here() -> None:
    assert {*PAIRS, *FLAGS, "refused"} == set(CHECKS)


def test_nothing_is_said_of_a_test_that_is_in_no_tube() -> None:
    for key in ("never_together", "same_tube", "separate_draws", "same_draw", "drawn_before"):
        assert failures(Expect(**{key: ((PT, "ferritin"),)}), POOR)  # type: ignore[arg-type]
    assert failures(Expect(not_in={"ferritin": ("edta",)}), POOR)


def test_an_order_that_is_planned_though_it_should_be_refused_is_told_and_the_other_way_round() -> None:
    planned = Case(key="k", why="W.", order={"tests": ["K"]}, expect=Expect(refused="K"), basis="computed", source="x")
    assert shortcomings(planned) == ["refused: the order was planned"]
    wrong = msgspec.structs.replace(planned, order={"tests": ["no such test"]}, expect=Expect(draws=1))
    assert shortcomings(wrong)[0].startswith("refused: ")
    assert shortcomings(msgspec.structs.replace(wrong, expect=Expect(refused="such"))) == []
    assert "expected words" in shortcomings(msgspec.structs.replace(wrong, expect=Expect(refused="potassium")))[0]


def test_what_an_order_says_and_nothing_reads_is_told_and_not_passed_over() -> None:
    slip = Case(key="k", why="W.", order={"tests": ["K"], "acces": "line"}, expect=Expect(draws=1), basis="computed",
                source="x")  # fmt: skip
    assert "acces" in shortcomings(slip)[0]

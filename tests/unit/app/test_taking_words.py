"""What is said at the chair of blood that is not kept, and how its tube is drawn."""

from __future__ import annotations

import datetime
from typing import Any

import pytest
from msgspec.structs import replace

from cubital.app.draws import plan_order
from cubital.app.taking_steps import TubeStep
from cubital.app.taking_words import ChairWords, chair_words
from cubital.app.tray import lay_tray
from cubital.app.wiring import open_site, order_of_words
from cubital.model import Site
from cubital.web.tube_picture import FULL, TubePicture, picture_of

DEMO = open_site(demo=True)
CLOSED = replace(DEMO, planning=replace(DEMO.planning, line_discard="returned"))
DAY = datetime.date(2026, 11, 25)
LINE: dict[str, Any] = {"access": "line", "line": {"dead_space_ml": 1}}


def first_of(site: Site, **fields: Any) -> tuple[ChairWords, TubePicture]:
    """The words and the drawing of the first tube of this order."""
    order = order_of_words(fields, where="test", today=DAY)
    plan = plan_order(order, site, today=DAY)
    row, tube = lay_tray(plan, order, site).draws[0].rows[0], plan.tubes[0]
    return chair_words(TubeStep(number=1, tube=tube, specimen=None), row), picture_of(tube, row)


@pytest.mark.parametrize(
    ("site", "fields", "fill", "then", "content"),
    [
        (DEMO, {"tests": ["PT"], "access": "winged-set"}, "fill until blood flows into it, then throw away",
         "Throw it away.", "waste"),
        (DEMO, {"tests": ["BMP"], **LINE}, "fill, then throw away", "Throw it away.", "waste"),
        (CLOSED, {"tests": ["BMP"], **LINE}, "set aside closed, give back at once", "Give it back at once.", "blood"),
        (DEMO, {"tests": ["PT"]}, "fill to here", "Now invert 5 times.", "blood"),
    ],
    ids=["in part", "full", "given back", "kept"],
)  # fmt: skip
def test_a_discard_says_what_becomes_of_it_and_is_drawn_so(
    site: Site, fields: dict[str, Any], fill: str, then: str, content: str
) -> None:
    words, picture = first_of(site, **fields)
    assert (words.fill, words.then, picture.content) == (fill, then, content)


def test_a_tube_that_is_filled_in_part_is_drawn_at_its_own_size_with_as_much_blood() -> None:
    words, picture = first_of(DEMO, tests=["PT"], access="winged-set")
    assert [care.text for care in words.cares] == ["in a 1.8 mL tube"]
    assert "filled in part, 0.5 mL" in picture.words
    _, full = first_of(DEMO, tests=["PT"])
    assert picture.width == full.width
    inside = picture.width - 4 - picture.glass_x
    assert picture.width - 4 - picture.fill_x == pytest.approx(FULL * inside * 0.5 / 1.8)


def test_a_syringe_that_is_given_back_says_so_in_words() -> None:
    _, picture = first_of(CLOSED, tests=["BMP"], **LINE)
    assert picture.words == "Syringe that is given back"
    _, thrown = first_of(DEMO, tests=["BMP"], **LINE)
    assert thrown.words == "Discard syringe"

"""The tray as it is drawn: readable without colour, in any width."""

from __future__ import annotations

import datetime
import re

import pytest

from cubital.app.draws import plan_order
from cubital.app.tray import Gauge, Tray, TubeRow, lay_tray
from cubital.app.wiring import open_site, order_of_words
from cubital.cli.sheet import TYPED, Sheet
from cubital.cli.tray import PICTURE_WIDTH, draw_gauge, draw_tray, draw_tube

DEMO = open_site(demo=True)
DAY = datetime.date(2026, 11, 25)
MIXED = ("PT", "CMP", "CBC", "type and screen", "lactate", "blood culture", "HLA typing")


def tray_of(*tests: str, **fields: object) -> Tray:
    order = order_of_words({"tests": list(tests), **fields}, where="test", today=DAY)
    return lay_tray(plan_order(order, DEMO), order, DEMO)


def bare(lines: list[str]) -> list[str]:
    return [re.sub(r"\x1b\[[0-9;]*m", "", line) for line in lines]


@pytest.mark.parametrize("width", [60, 80, 120])
def test_no_line_is_wider_than_the_sheet(width: int) -> None:
    tray = tray_of(*MIXED, access="winged-set", patient={"age": "61 a", "weight_kg": 70, "drawn_ml": 20})
    for line in draw_tray(tray, Sheet(width=width)):
        assert len(line) <= width, line


@pytest.mark.parametrize("width", [60, 80, 120])
def test_the_title_of_a_draw_goes_over_lines_where_it_is_long(width: int) -> None:
    tray = tray_of("vancomycin-trough", "vancomycin-peak", "group check")
    lines = draw_tray(tray, Sheet(width=width))
    assert max(map(len, lines)) <= width
    said = " ".join(" ".join(lines).split())
    for draw in tray.draws:
        assert draw.title in said
        assert all(one.text in said for one in draw.before)


def test_colour_adds_nothing_but_colour() -> None:
    tray = tray_of(*MIXED, patient={"age": "61 a", "weight_kg": 70})
    assert bare(draw_tray(tray, Sheet(is_coloured=True))) == draw_tray(tray, Sheet())


def test_every_tube_is_numbered_in_order_and_named_in_words_and_letters() -> None:
    tray = tray_of(*MIXED, patient={"age": "61 a", "weight_kg": 70})
    page = "\n".join(draw_tray(tray, Sheet(width=120)))
    for draw in tray.draws:
        for row in draw.rows:
            assert re.search(rf"(?m)^ {row.position}  │ {row.mark} │", page)
            assert f"{row.size}  {row.kind}" in page
            assert f"{row.additive} [{row.letters}]" in page or not row.letters


def test_the_gravest_stands_first_and_the_standing_cautions_last() -> None:
    tray = tray_of("PT", "CBC", "K", patient={"age": "6 mo", "weight_kg": 6, "drawn_ml": 10})
    lines = draw_tray(tray, Sheet())
    at = [next(i for i, line in enumerate(lines) if line.startswith(flag)) for flag in
          ("NOT ALL", "STOP", "LEFT OUT", "watch", "blood", "proof", "note", "always")]  # fmt: skip
    assert at == sorted(at)


def row_of(**changes: object) -> TubeRow:
    fields: dict[str, object] = {
        "position": 1, "purpose": "collect", "mark": "C9", "kind": "k", "additive": "a", "letters": "L",
        "stopper": None, "gel": False, "blood_ul": 2700, "liquid_ul": 0, "size": "2.7 mL", "mixing": "",
        "contents": (), "care": (),
    }  # fmt: skip
    return TubeRow(**(fields | changes))  # type: ignore[arg-type]


def test_a_picture_shows_liquid_gel_and_waste_apart_from_blood() -> None:
    def inside(**changes: object) -> str:
        return draw_tube(row_of(**changes), Sheet(glyphs=TYPED))[1].split("|")[2]

    assert inside() == "#####"
    assert inside(liquid_ul=300) == "####~"
    assert inside(gel=True) == "####="
    assert inside(purpose="discard", liquid_ul=300) == "////~"


def test_a_larger_tube_is_drawn_longer_and_none_is_wider_than_its_column() -> None:
    lengths = []
    for blood_ul in (100, 1000, 2700, 6000, 10_000, 20_000):
        lines = draw_tube(row_of(blood_ul=blood_ul), Sheet())
        assert [len(line) for line in lines] == [PICTURE_WIDTH] * 3
        lengths.append(lines[1].count("▓"))
    assert lengths == sorted(lengths)
    assert lengths[0] < lengths[1] < lengths[2] < lengths[3] < lengths[4]


def test_a_tube_without_a_mark_is_drawn_without_one() -> None:
    assert "│ -- │" in draw_tube(row_of(mark=""), Sheet())[1]


@pytest.mark.parametrize(
    ("drawn_ul", "this_ul", "bar", "percent"),
    [
        (0, 0, "." * 30, 0),
        (0, 1, "#" + "." * 29, 1),
        (0, 15_000, "#" * 15 + "." * 15, 50),
        (15_000, 15_000, "o" * 15 + "#" * 15, 100),
        (15_000, 14_900, "o" * 15 + "#" * 15, 100),
        (40_000, 0, "o" * 30, 134),
        (1, 1, "o" + "." * 29, 1),
    ],
)
def test_the_gauge_never_looks_emptier_than_it_is(drawn_ul: int, this_ul: int, bar: str, percent: int) -> None:
    text = draw_gauge(Gauge(drawn_ul=drawn_ul, this_ul=this_ul, limit_ul=30_000), Sheet(glyphs=TYPED))
    assert text.startswith(f"[{bar}] {percent} % of the limit")


def test_a_limit_of_nothing_is_a_full_gauge() -> None:
    text = draw_gauge(Gauge(drawn_ul=5, this_ul=0, limit_ul=0), Sheet(glyphs=TYPED))
    assert text.startswith("[" + "o" * 30)

"""The file of waiting tubes: every time in its place, nothing guessed, each fault with its path."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

import pytest
from msgspec.structs import replace

from cubital.app.wiring import open_site
from cubital.errors import CubitalError, ExchangeError, LocalTimeError, OrderError
from cubital.exchange.waiting_file import Waiting, read_waiting
from cubital.model import Site, Tube
from cubital.model.centrifuge import Standing

NOW = datetime(2026, 11, 25, 8, 40, tzinfo=UTC)
SITE = replace(open_site(demo=True), time_zone="Europe/Berlin")
TUBE: dict[str, Any] = {
    "id": "Q1", "kind": "citrate", "draw_ml": 2.7, "diameter_mm": 13, "fill_ml": 2.6,
    "spin": "platelet-poor citrate plasma", "spun_by": "2026-11-25 10:40",
}  # fmt: skip


def read(tubes: Any, **more: Any) -> Waiting:
    at = more.pop("said_at", None)
    return read_waiting(json.dumps({"tubes": tubes} | more), SITE, now=NOW, at=at, where="w.json")


def test_a_tube_is_read_in_whole_seconds_milligrams_and_micrometres_from_now() -> None:
    (tube,) = read([TUBE]).tubes
    assert (tube.ready_s, tube.due_s) == (0, 3600)
    assert (tube.load_mg, tube.measure, tube.diameter_um) == (2756, "fill", 13_000)
    assert (tube.type, tube.gel, tube.programs) == ("citrate 2.7 mL", False, ("platelet-poor citrate plasma",))


def test_a_bare_list_is_a_list_of_tubes() -> None:
    found = read_waiting(json.dumps([TUBE]), SITE, now=NOW, where="w.json")
    assert (found.at, len(found.tubes)) == (NOW, 1)


def test_the_file_or_the_prompt_may_say_from_when_and_not_both() -> None:
    assert read([TUBE], at="2026-11-25 09:30").tubes[0].due_s == 70 * 60
    assert read([TUBE], said_at="2026-11-25 10:00").tubes[0].due_s == 40 * 60
    with pytest.raises(OrderError, match="found --at beside it"):
        read([TUBE], at="2026-11-25 09:30", said_at="2026-11-25 10:00")


def test_a_weighed_tube_is_balanced_by_its_mass() -> None:
    tube = {**TUBE, "mass_g": 9.812}
    del tube["fill_ml"]
    assert (read([tube]).tubes[0].measure, read([tube]).tubes[0].load_mg) == ("mass", 9812)


def test_times_in_the_hour_that_the_clocks_show_twice_need_their_offset() -> None:
    now = datetime(2026, 10, 25, 0, 0, tzinfo=UTC)
    for offset, due_s in (("+02:00", 30 * 60), ("+01:00", 90 * 60)):
        text = json.dumps([{**TUBE, "spun_by": f"2026-10-25 02:30{offset}"}])
        assert read_waiting(text, SITE, now=now, where="w").tubes[0].due_s == due_s
    with pytest.raises(LocalTimeError, match="showed twice"):
        read_waiting(json.dumps([{**TUBE, "spun_by": "2026-10-25 02:30"}]), SITE, now=now, where="w")


def test_a_centrifuge_stands_as_the_file_says_and_never_before_now() -> None:
    found = read(
        [TUBE],
        centrifuges=[
            {"name": "big-swing", "free_at": "2026-11-25 09:46", "temp_c": 20},
            {"name": "small-angle", "free_at": "2026-11-25 09:00", "in_use": False},
        ],
    )
    assert found.standing == {"big-swing": Standing(free_s=360, temp_c=20), "small-angle": Standing(free_s=0)}
    assert found.idle == ("small-angle",)


def test_what_nothing_reads_is_reported() -> None:
    assert read([{**TUBE, "colour": "blue"}], ward="7").unread == ("ward", "tubes[0].colour")


def test_a_tube_that_was_due_before_is_taken_as_it_is() -> None:
    assert read([{**TUBE, "spun_by": "2026-11-25 09:00"}]).tubes[0].due_s == -2400


def without(key: str) -> dict[str, Any]:
    return {k: v for k, v in TUBE.items() if k != key}


REFUSED: dict[str, tuple[Any, str]] = {
    "no tubes": ([], "w.json tubes: found no tubes"),
    "no id": ([without("id")], "tubes[0].id: found nothing"),
    "an id twice": ([TUBE, TUBE], "tubes[1].id: found 'Q1' again"),
    "no kind": ([without("kind")], "tubes[0].kind: found nothing"),
    "an unknown kind": (
        [{**TUBE, "kind": "citrat"}], 'found "citrat"; expected the key of a tube kind of this site; write citrate',
    ),
    "no size": ([without("draw_ml")], "draw_ml: found nothing; expected one of 1.8, 2.7, 4.5 mL"),
    "a size in microlitres": ([{**TUBE, "draw_ml": 2700}], "draw_ml: found 2700; expected one of 1.8, 2.7, 4.5 mL"),
    "no width": ([without("diameter_mm")], "diameter_mm: found nothing"),
    "a width in micrometres": ([{**TUBE, "diameter_mm": 13000}], "diameter_mm: found 13000"),
    "neither fill nor mass": ([without("fill_ml")], "neither fill_ml nor mass_g; expected one of the two"),
    "both fill and mass": ([{**TUBE, "mass_g": 9}], "fill_ml: found both"),
    "a fill below nothing": ([{**TUBE, "fill_ml": -1}], "fill_ml: found -1"),
    "a fill in words": ([{**TUBE, "fill_ml": "2.6 mL"}], 'fill_ml: found "2.6 mL"'),
    "no purpose": ([without("spin")], "spin: found nothing; expected one of platelet-poor citrate plasma"),
    "a purpose of another tube": (
        [{**TUBE, "spin": "EDTA plasma"}], 'spin: found "EDTA plasma"; expected one of platelet',
    ),
    "a purpose misspelt": (
        [{**TUBE, "spin": "platelet poor citrate plasma"}], 'write "platelet-poor citrate plasma"',
    ),
    "no purposes": ([{**TUBE, "spin": []}], "spin: found 0 purposes"),
    "a tube that no source spins": (
        [{**TUBE, "kind": "sps", "draw_ml": 8.3, "spin": "serum"}], "expected no spin: no source says how to spin sps",
    ),
    "a clotting tube without its time": (
        [{**TUBE, "kind": "serum-gel", "draw_ml": 5, "spin": "gel serum"}],
        "ready_at: found nothing; expected when its clot",
    ),
    "a time of another week": ([{**TUBE, "spun_by": "2026-12-25 10:40"}], "expected a time within 7 days"),
    "a slip in a field": ([{**TUBE, "spun_bye": "x"}], "spun_bye: found an unknown field; expected spun_by"),
    "a tube that is no object": (["Q1"], 'tubes[0]: found "Q1"; expected an object'),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_a_tube_is_refused_with_its_path(name: str) -> None:
    tubes, words = REFUSED[name]
    with pytest.raises(OrderError) as caught:
        read(tubes)
    assert words in str(caught.value)


@pytest.mark.parametrize(
    ("row", "words"),
    [({"name": "huge"}, "expected one of big-swing, small-angle"), ({}, "name: found nothing"),
     ({"name": "big-swing", "temp_c": 400}, "whole degrees Celsius from -20 to 50"),
     ({"name": "big-swing", "in_use": "no"}, "expected true or false")],
)  # fmt: skip
def test_a_centrifuge_that_is_not_there_or_not_sound_is_refused(row: dict[str, Any], words: str) -> None:
    with pytest.raises(OrderError) as caught:
        read([TUBE], centrifuges=[row])
    assert words in str(caught.value)
    with pytest.raises(OrderError, match="found 'big-swing' again"):
        read([TUBE], centrifuges=[{"name": "big-swing"}] * 2)


@pytest.mark.parametrize(
    "text", ["", "{", "3", '{"tubes": 3}', '{"tubes": [], "tubes": []}', '"x"', '{"at": "noon", "tubes": []}']
)
def test_what_is_no_file_of_tubes_is_refused(text: str) -> None:
    with pytest.raises(CubitalError):
        read_waiting(text, SITE, now=NOW, where="w.json")
    with pytest.raises(ExchangeError, match="found nothing"):
        read_waiting("", SITE, now=NOW, where="w.json")


def stock(*diameters_um: int | None) -> Site:
    sizes = tuple(Tube(draw_ul=2700, liquid_additive_ul=300, diameter_um=um) for um in diameters_um)
    return replace(SITE, kinds={**SITE.kinds, "citrate": replace(SITE.kinds["citrate"], sizes=sizes)})


def test_a_width_that_the_stock_says_need_not_be_written_and_one_that_is_written_goes_before_it() -> None:
    tube = {key: value for key, value in TUBE.items() if key != "diameter_mm"}
    text = json.dumps([tube])
    assert read_waiting(text, stock(13_200), now=NOW, where="w").tubes[0].diameter_um == 13_200
    assert read_waiting(json.dumps([TUBE]), stock(13_200), now=NOW, where="w").tubes[0].diameter_um == 13_000
    for several in ((None,), (13_000, 13_200), (13_000, None)):
        with pytest.raises(OrderError, match=r"diameter_mm: found nothing; expected .* in tubes.toml"):
            read_waiting(text, stock(*several), now=NOW, where="w")

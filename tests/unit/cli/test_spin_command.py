"""`cubital spin`: rotors drawn, the same facts as JSON, every refusal with its place."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests.unit.cli.prompt import Said, say

TUBES: list[dict[str, Any]] = [
    {"id": "Q1", "kind": "citrate", "draw_ml": 2.7, "diameter_mm": 13, "fill_ml": 2.7,
     "spin": "platelet-poor citrate plasma", "spun_by": "2026-11-25 10:10"},
    {"id": "Q2", "kind": "heparin", "draw_ml": 6, "diameter_mm": 13, "fill_ml": 6, "spin": "heparin plasma"},
    {"id": "Q3", "kind": "edta", "draw_ml": 4, "diameter_mm": 13, "fill_ml": 4, "spin": "EDTA plasma, cold"},
    {"id": "Q4", "kind": "edta", "draw_ml": 4, "diameter_mm": 13, "fill_ml": 3.5, "spin": "EDTA plasma, cold"},
]  # fmt: skip
FILE = {"at": "2026-11-25 09:40", "centrifuges": [{"name": "big-swing", "temp_c": 4}], "tubes": TUBES}


def spin(content: Any, *more: str, site: tuple[str, ...] = ("--demo",)) -> Said:
    return say("spin", "--tubes", "-", *site, *more, stdin=json.dumps(content).encode())


def test_the_rotors_are_drawn_with_each_place_its_opposite_and_the_blanks() -> None:
    said = spin(FILE)
    assert said.status == 0
    lines = said.out.splitlines()
    assert lines[0].startswith("4 tubes in 2 runs, none late, done by 2026-11-25 09:55:40")
    assert any("small-angle, 09:40:00 to 09:55:40" in line for line in lines)
    assert "      1 Q1 (citrate 2.7 mL)  opposite  7 blank like Q1" in lines
    assert "      A1 Q4 (edta 4 mL)  opposite  C1 Q3 (edta 4 mL)" in lines
    first = next(n for n, line in enumerate(lines) if line.split() == ["A1", "A2", "A3", "A4", "A5", "A6", "A7"])
    assert [line.split() for line in lines[first + 1 : first + 3]] == [["T", *"······"]] * 2
    assert "no plan for these centrifuges has fewer tubes late" in said.out
    assert "[from memory of clsi-h21-2008; from memory of icsh-2021]" in " ".join(said.out.split())


def test_the_json_states_the_same_facts_with_instants_in_utc() -> None:
    (found,) = spin(FILE, "--json").documents()
    assert found["format"] == "cubital.spin/1"
    assert found["optimal"] is True
    assert found["score"] == found["bound"]
    assert found["score"]["last_end"] == "2026-11-25T08:55:40Z"
    angle, swing = sorted(found["runs"], key=lambda run: str(run["centrifuge"]), reverse=True)
    assert (swing["centrifuge"], swing["temp_c"], swing["blanks"]) == ("big-swing", 4, 0)
    assert (angle["start"], angle["rpm"], angle["rcf_g"]) == ("2026-11-25T08:40:00Z", 3800, 1534)
    assert {place["tube"] for place in angle["places"]} == {"Q1", "Q2", None}
    assert [p["purpose"] for p in found["programs"]] == [
        "EDTA plasma, cold", "heparin plasma", "platelet-poor citrate plasma",
    ]  # fmt: skip


def test_a_late_tube_is_said_first_and_ends_with_status_1() -> None:
    late = {**FILE, "tubes": [{**TUBES[0], "spun_by": "2026-11-25 09:50"}]}
    said = spin(late)
    assert said.status == 1
    assert said.out.splitlines()[1].startswith("LATE  Q1: due by 09:50:00, its run ends 09:55:40, 5 min 40 s late")
    (found,) = spin(late, "--json").documents()
    assert found["missed"] == ["Q1"]
    assert found["runs"][0]["places"][0]["late_s"] == 340


def test_a_tube_left_out_is_named_with_its_reason() -> None:
    gel = {"id": "G", "kind": "serum-gel", "draw_ml": 5, "diameter_mm": 13, "fill_ml": 5, "spin": "gel serum",
           "ready_at": "2026-11-25 09:40", "spun_before": True}  # fmt: skip
    said = spin({**FILE, "tubes": [gel]})
    assert said.status == 1
    assert "no run: nothing here can be spun" in said.out
    assert "LEFT OUT  G: a gel tube spun before is not spun again" in said.out


def test_a_search_that_is_stopped_says_that_it_proves_nothing() -> None:
    tubes = [
        {**TUBES[n % 2], "id": f"T{n}", "ready_at": f"2026-11-25 {10 + n // 12}:{5 * (n % 12):02}",
         "spun_by": f"2026-11-25 {11 + n // 12}:{5 * (n % 12):02}"}
        for n in range(30)
    ]  # fmt: skip
    said = spin({**FILE, "tubes": tubes}, "--most-steps", "1")
    (found,) = spin({**FILE, "tubes": tubes}, "--most-steps", "1", "--json").documents()
    assert found["optimal"] is (found["score"] == found["bound"])
    assert ("NOT PROVED the best" in said.out) is not found["optimal"]
    assert found["optimal"] is False


def test_a_double_spin_says_that_it_is_the_first_of_two() -> None:
    said = spin({**FILE, "tubes": [{**TUBES[0], "spin": "citrate plasma, twice"}]})
    assert "watch  Q1: this is the first of two spins" in said.out


def test_a_centrifuge_out_of_use_is_not_loaded() -> None:
    out = [{"name": "big-swing", "in_use": False}]
    (found,) = spin({**FILE, "centrifuges": out, "tubes": TUBES[:2]}, "--json").documents()
    assert {run["centrifuge"] for run in found["runs"]} == {"small-angle"}
    assert found["idle"] == ["big-swing"]
    both = [*out, {"name": "small-angle", "in_use": False}]
    refused = spin({**FILE, "centrifuges": both}, "--json")
    assert refused.status == 2
    assert "every centrifuge out of use" in refused.err
    assert refused.documents()[0]["error"]


def test_a_site_without_a_centrifuge_is_told_where_to_write_it() -> None:
    said = spin(FILE, site=())
    assert said.status == 2
    assert "write centrifuges.toml in the site's folder" in said.err


def test_a_site_of_its_own_has_its_own_centrifuge(tmp_path: Path) -> None:
    (tmp_path / "centrifuges.toml").write_text(
        '[one]\nrotor = "fixed-angle"\nradius_mm = 100\nrpm_low = 500\nrpm_high = 6000\nrpm_step = 10\nramp_s = 0\n'
        "temp_low_c = 20\ntemp_high_c = 25\nbalance_mg = 0\n"
        "places = [{pairs = 1, diameter_low_mm = 13, diameter_high_mm = 13}]\n",
        encoding="utf-8",
    )
    content = {"at": "2026-11-25 09:40", "tubes": TUBES[1:2]}
    assert spin(content, site=("--site", str(tmp_path))).out.startswith("1 tube in 1 run")


@pytest.mark.parametrize(("arguments", "words"), [
    (("spin", "--demo"), "Missing option '--tubes'"),
    (("spin", "--demo", "--tubes", "not-there.json"), "not-there.json"),
    (("spin", "--demo", "--tubes", "-", "--at", "noon"), "--at: found 'noon'"),
])  # fmt: skip
def test_a_command_that_cannot_be_run_says_why(arguments: tuple[str, ...], words: str) -> None:
    said = say(*arguments, stdin=json.dumps(TUBES).encode())
    assert said.status == 2
    assert words in said.err


SPECIMENS = {"format": "cubital.specimens/1", "specimens": [
    {"id": "T1", "patient": "P1", "kind": "heparin-gel", "matrix": "plasma", "tests": ["K", "Na"],
     "collected_at": "2026-11-25 09:00", "draw_ml": 3, "usable_ml": 1.2},
    {"id": "T2", "patient": "P1", "kind": "edta", "matrix": "whole-blood", "tests": ["CBC"],
     "collected_at": "2026-11-25 09:00", "draw_ml": 4, "usable_ml": 2.8, "hematocrit": 0.42},
    {"id": "T3", "patient": "P2", "kind": "citrate", "matrix": "plasma", "tests": ["PT", "aPTT"],
     "collected_at": "2026-11-25 09:10", "draw_ml": 2.7, "usable_ml": 1.2},
    {"id": "T4", "patient": "P2", "kind": "serum-gel", "matrix": "serum", "tests": ["TSH"],
     "collected_at": "2026-11-25 09:20", "draw_ml": 3.5, "usable_ml": 1.4},
]}  # fmt: skip


def joined(tmp_path: Path, tubes: list[dict[str, Any]], *more: str) -> Said:
    (tmp_path / "specimens.json").write_text(json.dumps(SPECIMENS), encoding="utf-8")
    content = {"at": "2026-11-25 09:30", "centrifuges": [{"name": "big-swing", "temp_c": 20}], "tubes": tubes}
    return spin(content, "--specimens", str(tmp_path / "specimens.json"), *more)


MEASURED: list[dict[str, Any]] = [
    {"id": "T1", "diameter_mm": 13, "fill_ml": 3}, {"id": "T3", "diameter_mm": 13, "fill_ml": 2.7},
    {"id": "T4", "diameter_mm": 13, "fill_ml": 3.5},
]  # fmt: skip


def test_of_recorded_tubes_the_width_and_the_fill_are_enough(tmp_path: Path) -> None:
    (found,) = joined(tmp_path, MEASURED, "--json").documents()
    assert found["left_out"] == []
    loaded = {place["tube"]: run for run in found["runs"] for place in run["places"] if place["tube"]}
    assert sorted(loaded) == ["T1", "T3", "T4"]
    # Serum with an activator stands 30 min (GP44, from memory): drawn at 09:20 local, it is not spun before 08:50 UTC.
    assert loaded["T4"]["start"] >= "2026-11-25T08:50:00Z"
    assert (loaded["T3"]["spin_s"], loaded["T3"]["rcf_g"] >= 1500) == (900, True)
    assert found["missed"] == []


def test_a_recorded_tube_that_waits_and_was_not_measured_is_left_out_and_named(tmp_path: Path) -> None:
    said = joined(tmp_path, MEASURED[:2])
    assert said.status == 1
    assert "LEFT OUT  T4: it waits for its spin and is not in the file" in said.out
    assert "T2" not in said.out  # a count of whole blood is not spun


@pytest.mark.parametrize(("change", "words"), [
    ({"kind": "citrate"}, 'tubes[0].kind: found "citrate"; expected "heparin-gel", as recorded'),
    ({"draw_ml": 4.5}, "tubes[0].draw_ml: found 4.5; expected 3, as recorded"),
])  # fmt: skip
def test_a_tube_that_is_not_what_the_record_says_is_refused(tmp_path: Path, change: dict[str, Any], words: str) -> None:
    said = joined(tmp_path, [{**MEASURED[0], **change}])
    assert said.status == 2
    assert words in said.err


def test_a_time_in_the_file_goes_before_that_of_the_record(tmp_path: Path) -> None:
    (found,) = joined(tmp_path, [{**MEASURED[0], "spun_by": "2026-11-25 09:31"}], "--json").documents()
    assert found["missed"] == ["T1"]


def test_the_record_and_a_file_of_specimens_are_not_both_asked(tmp_path: Path) -> None:
    assert "found --db beside it" in joined(tmp_path, MEASURED, "--db", "x.db").err


def test_the_record_itself_says_what_waits(tmp_path: Path) -> None:
    address = str(tmp_path / "record.db")
    assert say("db", "upgrade", "--db", address).status == 0
    said = spin({"at": "2026-11-25 09:30", "tubes": TUBES[:1]}, "--db", address)
    assert said.status == 0

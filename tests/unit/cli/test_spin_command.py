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
    assert found["score"]["last_end"] == "2026-11-25T08:55:40+00:00"
    angle, swing = sorted(found["runs"], key=lambda run: str(run["centrifuge"]), reverse=True)
    assert (swing["centrifuge"], swing["temp_c"], swing["blanks"]) == ("big-swing", 4, 0)
    assert (angle["start"], angle["rpm"], angle["rcf_g"]) == ("2026-11-25T08:40:00+00:00", 3800, 1534)
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

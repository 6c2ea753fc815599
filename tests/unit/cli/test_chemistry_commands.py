"""carryover, fill, rcf, citrate and bloodvolume at the prompt: what they say, what they refuse, their pictures."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from unittest import mock

import pytest

from tests.unit.cli.prompt import say

STAY = {
    "patient": {"age": "2 a", "weight_kg": 10},
    "draws": [
        {"at": "2026-11-20 06:00", "tubes": [{"kind": "edta", "ml": 4}, {"kind": "serum-gel", "ml": 5}]},
        {"at": "2026-11-20 18:00", "ml": 12, "tests": ["K", "CBC"]},
        {"at": "2026-11-21", "ml": 3.5},
    ],
}


def test_carryover_says_the_change_the_limits_and_that_a_closed_draw_carries_nothing() -> None:
    said = say("carryover", "edta", "serum-gel", "--volume-ul", "50", "--into-ml", "3.5")
    assert said.status == 0
    assert "potassium" in said.out
    assert "clia-2025" in said.out
    assert "carries nothing over that was" in said.out
    assert "draw again" in said.out


def test_carryover_in_json_is_what_the_words_say() -> None:
    said = say(
        "carryover", "edta", "serum-gel", "--volume-ul", "50", "--into-ml", "3.5", "--value", "potassium=5.1", "--json"
    )
    (document,) = said.documents()
    (potassium,) = (row for row in document["changes"] if row["analyte"] == "potassium")
    assert potassium["before"] == 5.1
    assert document["way"]["key"] == "closed"


def test_an_assay_that_withstands_edta_takes_its_analyte_out_of_the_limits() -> None:
    said = say("carryover", "edta", "serum-gel", "--assay", "magnesium=isocitrate-dehydrogenase", "--json")
    assert "magnesium" not in {limit["analyte"] for limit in said.documents()[0]["limits"]}


def test_the_derived_order_is_shown_beside_each_guideline_with_its_honest_word() -> None:
    said = say("carryover", "--order", "edta", "citrate", "heparin", "serum-glass", "acd-a")
    head = " ".join(said.out.split())
    assert head.startswith(
        "Least harm, 10 uL carried into every later tube: serum-glass > citrate > heparin > edta > acd"
    )
    for word in ("WHO 2010", "CLSI GP41", "EFLM", "Common practice", "disputed", "no guideline"):
        assert word in said.out
    (document,) = say("carryover", "--order", "edta", "citrate", "--json").documents()
    assert document["format"] == "cubital.order-of-draw/1"
    assert document["order"] == ["citrate", "edta"]


def test_fill_says_which_tube_falls_short_and_from_which_altitude() -> None:
    said = say("fill", "citrate", "--altitude-m", "1609", "--gas-share", "0.675", "--access", "winged-set")
    assert "FALLS SHORT" in said.out
    assert "1563 m" in said.out
    assert "Discard first" in said.out
    fine = say("fill", "citrate", "--altitude-m", "1500", "--gas-share", "0.675")
    assert "every size is full enough" in fine.out


def test_the_altitude_of_the_site_is_taken_where_none_is_said(tmp_path: Path) -> None:
    (tmp_path / "site.toml").write_text("[planning]\naltitude_m = 1609\n")
    said = say("fill", "citrate", "--site", str(tmp_path), "--gas-share", "0.675", "--json")
    assert said.documents()[0]["altitude_m"] == 1609


def test_a_tubing_gives_the_dead_space_of_a_set() -> None:
    said = say("fill", "citrate", "--access", "winged-set", "--tubing-mm", "305", "1.45", "--json")
    assert said.documents()[0]["dead_ul"] == pytest.approx(504, abs=1)


def test_rcf_gives_the_third_of_three_and_ends_with_1_over_the_rotors_limit() -> None:
    assert say("rcf", "--rpm", "3000", "--radius-cm", "16").out.startswith("1609.9 g at 3000 rpm")
    over = say("rcf", "--rpm", "3000", "--radius-cm", "16", "--most-g", "1500")
    assert over.status == 1
    assert "must not be run so" in over.out
    assert "2809 rpm" in say("rcf", "--for", "citrate", "--radius-cm", "17").out


def test_citrate_shows_both_formulas_what_v_means_and_the_trap() -> None:
    said = say("citrate", "--hematocrit", "0.60", "--blood-ml", "2.7")
    for word in ("take out 0.100 mL", "V is the blood alone", "blood and citrate together", "TRAP", "0.082", "0.098"):
        assert word in said.out
    assert "not adjusted" in say("citrate", "--hematocrit", "0.55", "--blood-ml", "2.7").out


def test_bloodvolume_adds_up_a_stay_and_ends_with_1_over_the_named_limit(tmp_path: Path) -> None:
    file = tmp_path / "stay.json"
    file.write_text(json.dumps(STAY))
    said = say("bloodvolume", "--draws", str(file), "--limit", "feinstein-ill")
    assert said.status == 1
    for word in ("PASSED", "Drawn in all: 24.5 mL", "Smaller tubes would have saved", "transfusions avoided may not"):
        assert word in said.out
    again = say("bloodvolume", "--draws", "-", "--limit", "howie-2011-max", stdin=json.dumps(STAY).encode())
    assert again.status == 0
    assert "2026-11-20    21.0 mL" in again.out


def test_bloodvolume_of_a_patient_alone_lists_every_policy() -> None:
    said = say("bloodvolume", "--age", "40 a", "--sex", "male", "--weight-kg", "70", "--height-cm", "175", "--json")
    (document,) = said.documents()
    assert said.status == 0
    assert document["guard_ul"] == 4_823_754
    assert {"cfr-46-110-adult", "feinstein-ill"} <= {cap["policy"] for cap in document["caps"]}


def test_bloodvolume_says_what_may_be_lost_until_the_lowest_hematocrit() -> None:
    options = ("--age", "40 a", "--weight-kg", "60", "--hematocrit", "0.45", "--lowest-hematocrit", "0.30")
    said = say("bloodvolume", *options)
    for word in ("1400 mL: V (Hi - Hf) / Hi", "1680 mL", "1703 mL: V ln(Hi / Hf)", "no limit of what may be drawn"):
        assert word in " ".join(said.out.split())
    (document,) = say("bloodvolume", *options, "--json").documents()
    assert [row["volume_ul"] for row in document["losses"][:2]] == [1_400_000, 1_680_000]


REFUSALS = [
    (("bloodvolume", "--weight-kg", "60", "--hematocrit", "0.45"), "--hematocrit: found it alone"),
    (("bloodvolume", "--weight-kg", "60", "--lowest-hematocrit", "0.3"), "without the patient's hematocrit"),
    (("bloodvolume", "--weight-kg", "60", "--lowest-hematocrit", "30%"), "--lowest-hematocrit: found '30%'"),
    (("carryover", "edta"), "found 1 tubes; expected two"),
    (("carryover", "edta", "tea"), "found 'tea'"),
    (("carryover", "edta", "serum", "--volume-ul", "50uL"), "--volume-ul: found '50uL'; expected a finite number"),
    (("carryover", "edta", "serum", "--volume-ul", "-1"), "expected 0 or more"),
    (("carryover", "edta", "serum", "--volume-ul", "nan"), "--volume-ul: found 'nan'"),
    (("carryover", "edta", "serum", "--hematocrit", "45"), "such as 0.45"),
    (("carryover", "edta", "serum", "--value", "potassium"), "expected a name, = and a value"),
    (("carryover", "edta", "serum", "--value", "potassium=5 mmol/L"), "--value potassium: found '5 mmol/L'"),
    (("carryover", "edta", "serum", "--way", "thrown"), "expected one of closed, syringe, poured"),
    (("carryover", "edta", "serum", "--plot", "a.pdf"), "expected a name ending in .svg or .png"),
    (("carryover", "--order", "edta", "serum", "--plot", "a.png"), "which has no picture"),
    (("carryover", "edta", "serum", "--value", "potassium=-5"), "potassium: found -5; expected 0 to 64.5 mmol/L"),
    (("carryover", "edta", "serum", "--value", "glucose=90"), "glucose: found 90; expected 0 to 75 mmol/L"),
    (("carryover", "edta", "serum", "--into-ml", "0"), "expected above 0 and at most 100 mL"),
    (("carryover", "edta", "serum", "--into-ml", "3500"), "expected above 0 and at most 100 mL"),
    (("fill", "tea"), "expected a tube kind of this site"),
    (("fill", "gas-syringe"), "expected a kind with a vacuum"),
    (("rcf", "--for", " "), "expected a tube kind or one of: serum"),
    (("rcf", "--for", "e"), "expected a tube kind or one of: serum"),
    (("fill", "--altitude-m", "5000ft"), "--altitude-m: found '5000ft'"),
    (("fill", "--altitude-m", "12000"), "--altitude-m: found 12000; expected -500 to 11000 m"),
    (("fill", "--gas-share", "67.5"), "expected 0.01 to 1 as a share"),
    (("fill", "--temperature-c", "98.6"), "--temperature-c: found 98.6; expected -40 to 60 C"),
    (("fill", "--access", "line"), "dead space: the dead space of a catheter or line is not known"),
    (("fill", "--dead-ml", "500"), "--dead-ml: found 500; expected 0 to 20 mL"),
    (("fill", "--dead-ml", "1", "--tubing-mm", "305", "1.45"), "found it beside --dead-ml"),
    (("rcf", "--rpm", "3000", "--radius-cm", "0"), "radius: found 0; expected a radius above 0"),
    (("rcf", "--rpm", "3000", "--radius-cm", "160"), "at most 50 cm"),
    (("rcf", "--rpm", "3000"), "a speed without a radius is no specification"),
    (("rcf", "--rpm", "3000", "--radius-cm", "16 cm"), "--radius-cm: found '16 cm'"),
    (("citrate", "--hematocrit", "60", "--blood-ml", "2.7"), "expected a share from 0.05 to 0.85"),
    (("citrate", "--hematocrit", "0.60", "--blood-ml", "2700"), "at most 20 mL"),
    (("citrate", "--hematocrit", "0.60", "--blood-ml", "2.7", "--citrate-ml", "0.6"), "expected a ninth"),
    (("citrate", "--hematocrit", "0.60"), "Missing option '--blood-ml'"),
    (("bloodvolume", "--weight-kg", "3.2 kg"), "weight_kg: found"),
    (("bloodvolume", "--age", "4"), "age"),
    (("bloodvolume", "--limit", "none"), "expected one of howie-2011-max"),
    (("bloodvolume", "--draws", "/nowhere/at/all"), "/nowhere/at/all"),
]  # fmt: skip


@pytest.mark.parametrize(("arguments", "words"), REFUSALS)
def test_a_bad_word_is_refused_by_its_place_in_words_and_in_json(arguments: tuple[str, ...], words: str) -> None:
    said = say(*arguments, "--json")
    assert said.status == 2
    assert words in said.err
    assert "internal" not in said.err
    (document,) = said.documents()
    assert document["error"]


BAD_STAYS = [
    ('{"draws": []}', "found no draws"),
    ('{"draws": [{"ml": 5}]}', "draws[0].at"),
    ('{"draws": [{"at": "yesterday", "ml": 5}]}', "expected a moment"),
    ('{"draws": [{"at": "2026-11-20T06:00+01:00", "ml": 5}]}', "expected a moment"),
    ('{"draws": [{"at": "2026-11-20 06:00"}]}', "expected millilitres, or tubes"),
    ('{"draws": [{"at": "2026-11-20 06:00", "ml": 0}]}', "draws[0].ml"),
    ('{"draws": [{"at": "2026-11-20 06:00", "ml": 5000}]}', "at most 1000"),
    ('{"draws": [{"at": "2026-11-20 06:00", "ml": "5"}]}', "write a number without quotes"),
    ('{"draws": [{"at": "2026-11-20 06:00", "ml": 0.0005}]}', "at most three decimals"),
    ('{"draws": [{"at": "2026-11-20 06:00", "tubes": [{"kind": "edta"}]}]}', "draws[0].tubes[0].ml"),
    ('{"draws": [{"at": "2026-11-20 06:00", "tubes": [{"ml": 3}]}]}', "expected a tube kind"),
    ('{"draws": [{"at": "2026-11-20 06:00", "tubes": [{"kind": "edta", "ml": 3, "lot": 1}]}]}', "an unknown field"),
    ('{"draws": [{"at": "2026-11-20 06:00", "ml": 3, "tests": [1]}]}', "draws[0].tests[0]"),
    ('{"draws": [{"at": "2026-11-20 06:00", "ml": 3, "ml": 4}]}', "twice in one object"),
    ('[1]', "expected an object"),
    ("{", "the rest of the JSON"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "words"), BAD_STAYS)
def test_a_bad_file_of_draws_is_refused_with_its_path(text: str, words: str) -> None:
    said = say("bloodvolume", "--draws", "-", stdin=text.encode())
    assert said.status == 2
    assert words in said.err


def test_a_field_that_nothing_reads_is_told_and_two_patients_are_refused() -> None:
    text = b'{"patient": {"age": "4 a"}, "draws": [{"at": "2026-11-20", "ml": 3, "ward": "x"}]}'
    assert "nothing reads draws[0].ward" in say("bloodvolume", "--draws", "-", stdin=text).out
    assert "expected one" in say("bloodvolume", "--draws", "-", "--age", "4 a", stdin=text).err


@pytest.mark.parametrize("suffix", [".svg", ".png"])
def test_a_picture_is_written_and_twice_the_same(tmp_path: Path, suffix: str) -> None:
    for arguments in (("carryover", "edta", "serum-gel"), ("fill", "citrate", "--altitude-m", "1609")):
        files = [tmp_path / f"{n}{suffix}" for n in (1, 2)]
        for file in files:
            assert say(*arguments, "--plot", str(file)).status == 0
        assert files[0].read_bytes() == files[1].read_bytes()
        assert files[0].stat().st_size > 5000


def test_the_allowable_error_and_the_least_fill_are_drawn_into_the_pictures(tmp_path: Path) -> None:
    import matplotlib

    with matplotlib.rc_context({"svg.fonttype": "none"}):
        say("carryover", "edta", "serum-gel", "--plot", str(tmp_path / "c.svg"))
        say("fill", "citrate", "--altitude-m", "1609", "--plot", str(tmp_path / "f.svg"))
    assert "allowable error" in (tmp_path / "c.svg").read_text()
    assert "potassium (0.3 mmol/L, clia-2025)" in (tmp_path / "c.svg").read_text()
    assert "least fill 90 %" in (tmp_path / "f.svg").read_text()


def test_without_the_library_that_draws_the_one_command_that_brings_it_is_named() -> None:
    with mock.patch.dict(sys.modules, {"matplotlib": None}):
        said = say("carryover", "edta", "serum-gel", "--plot", "a.svg")
    assert said.status == 2
    assert 'in a checkout run: .venv/bin/pip install -e ".[plots]"; else: pip install "cubital[plots]"' in said.err


def test_a_picture_that_cannot_be_written_is_refused() -> None:
    said = say("carryover", "edta", "serum-gel", "--plot", "/nowhere/at/all.svg")
    assert said.status == 2
    assert "expected a file that can be written" in said.err

"""The form of a panel: what is written of it, what is told at its fields, and which tests cannot go without it."""

from __future__ import annotations

import pytest

from cubital.app.site_editing import SiteVersions
from cubital.app.site_form import look_at
from cubital.app.site_panel_form import PANEL_FORM, own_panel
from cubital.app.site_removal import look_at_removal, take_out
from cubital.app.site_test_form import TEST_FORM
from cubital.errors import SiteError
from tests.unit.app.test_site_forms import DAY, Typing, edit, versions

__all__ = ["versions"]

STEPS = tuple(f"series.{row}.{field}" for row in (0, 1) for field in ("at_min", "tests"))


def test_only_the_changed_field_of_a_panel_is_written_and_its_members_stay_shipped(versions: SiteVersions) -> None:
    found = edit(PANEL_FORM, versions, "electrolytes-panel", also="lytes\nsalts")
    assert found.entries == {"panels.toml": {"include": "shipped", "electrolytes-panel": {"also": ["lytes", "salts"]}}}
    versions.save("ada", 0, found.entries, "another name")
    panel = versions.newest().site.panels["electrolytes-panel"]
    assert panel.also == ("lytes", "salts")
    assert panel.tests == ("sodium", "potassium", "chloride", "bicarbonate")
    assert len(versions.newest().site.panels) == len(versions.at(0).site.panels)


def test_members_are_changed_told_against_the_shipped_ones_and_left_to_them_again(versions: SiteVersions) -> None:
    found = edit(PANEL_FORM, versions, "electrolytes-panel", tests="sodium, potassium")
    assert found.entries["panels.toml"]["electrolytes-panel"] == {"tests": ["sodium", "potassium"]}
    assert [(one.entry, one.field, one.was, one.now) for one in found.proposal.changes if one.entry != "include"] == [
        ("electrolytes-panel", "tests", "sodium, potassium, chloride, bicarbonate", "sodium, potassium")
    ]
    versions.save("ada", 0, found.entries, "two")
    back = edit(PANEL_FORM, versions, "electrolytes-panel", tests="sodium\npotassium\nchloride\nbicarbonate")
    assert back.entries == {"panels.toml": {"electrolytes-panel": None}}


def test_a_series_takes_the_place_of_tests_and_the_other_way_round(versions: SiteVersions) -> None:
    steps = {"tests": "", "series.0.at_min": "0", "series.0.tests": "cortisol",
             "series.1.at_min": "30", "series.1.tests": "cortisol, glucose"}  # fmt: skip
    found = edit(PANEL_FORM, versions, "electrolytes-panel", **steps)
    assert found.is_sound, found.at_field
    versions.save("ada", 0, found.entries, "a series")
    panel = versions.newest().site.panels["electrolytes-panel"]
    assert (panel.tests, [(one.at_min, one.tests) for one in panel.series]) == (
        (), [(0, ("cortisol",)), (30, ("cortisol", "glucose"))],
    )  # fmt: skip
    changes = {one.field: one.now for one in versions.changes(0, 1) if one.field}
    assert changes["tests"] is None
    gone = {f"series.{row}.{field}": "" for row in (0, 1) for field in ("at_min", "tests")}
    back = edit(PANEL_FORM, versions, "electrolytes-panel", tests="sodium", **gone)
    assert back.entries["panels.toml"]["electrolytes-panel"] == {"tests": ["sodium"]}


@pytest.mark.parametrize(
    ("changed", "field", "level", "said"),
    [
        ({"tests": "sodium\npotasium"}, "tests", "error", "write potassium"),
        ({"tests": "sodium\nK"}, "tests", "error", "write potassium"),
        ({"tests": "sodium\nzzzzzz"}, "tests", "error", "add the test, or take it out"),
        ({"tests": ""}, "tests", "error", "the tests that the panel stands for"),
        ({"series.0.at_min": "0", "series.0.tests": "glucos"}, "series.0.tests", "error", "write glucose"),
        ({"series.3.at_min": "-1", "series.3.tests": "glucose"}, "series.0.at_min", "error", "minutes"),
        ({"series.0.tests": "glucose"}, "series.0.at_min", "error", "minutes after the first draw"),
        ({"codes": "loinc 24326-2"}, "codes", "warning", "check digit"),
        ({"also": "sodium"}, "", "error", "which [sodium]"),
        ({"also": "CMP"}, "", "warning", "comprehensive-metabolic-panel"),
        ({"name": ""}, "name", "warning", "the shipped one stays: electrolytes"),
    ],
)
def test_a_finding_of_a_panel_stands_at_its_field(
    versions: SiteVersions, changed: dict[str, str], field: str, level: str, said: str
) -> None:
    found = edit(PANEL_FORM, versions, "electrolytes-panel", **changed)
    here = found.at_field.get(field, ())
    assert any(said in str(one) and one.level == level for one in here), found.at_field
    assert found.is_sound == (level != "error")


def test_a_new_panel_is_made_and_taken_out_again(versions: SiteVersions) -> None:
    sent = Typing({"base": "0", "name": "ward round", "also": "WR1", "tests": "potassium\ncreatinine"})
    found = look_at(PANEL_FORM, versions, "ward-round", sent, today=DAY, is_new=True)
    assert found.entries["panels.toml"]["ward-round"] == {
        "name": "ward round", "also": ["WR1"], "tests": ["potassium", "creatinine"],
    }  # fmt: skip
    versions.save("ada", 0, found.entries, "new")
    assert own_panel(versions.newest(), "ward-round") is not None
    take_out(PANEL_FORM, versions, "ada", 1, "ward-round", "not used", with_panels=False)
    assert "ward-round" not in versions.newest().site.panels


LITHIUM = {"bench": "toxicology", "accepts": [{"matrix": "serum", "tubes": ["serum"], "volume_ul": 200}]}


def test_a_test_that_a_panel_of_the_site_names_is_not_taken_out(versions: SiteVersions) -> None:
    panel = {"include": "shipped", "ward-round": {"name": "ward round", "tests": ["lithium-quick", "potassium"]}}
    versions.save("ada", 0, {"tests.toml": {"lithium-quick": LITHIUM}, "panels.toml": panel}, "new")
    met = look_at_removal(TEST_FORM, versions.newest(), "lithium-quick")
    assert ([one.key for one in met.holding], met.going) == (["ward-round"], ())
    with pytest.raises(SiteError, match="found it in the panels ward round; expected a test that no panel") as refused:
        take_out(TEST_FORM, versions, "ada", 1, "lithium-quick", "gone", with_panels=True)
    assert refused.value.where == "lithium-quick"
    versions.save("ada", 1, {"panels.toml": {"ward-round": {"tests": ["potassium"]}}}, "without it")
    take_out(TEST_FORM, versions, "ada", 2, "lithium-quick", "gone", with_panels=False)
    assert "lithium-quick" not in versions.newest().site.tests


def test_a_test_that_shipped_panels_name_goes_with_them_only_when_that_is_said(versions: SiteVersions) -> None:
    own = {key: {"bench": "chemistry", "accepts": [{"matrix": "serum", "tubes": ["serum"], "volume_ul": 20}]}
           for key in ("sodium", "potassium", "chloride", "bicarbonate")}  # fmt: skip
    alone = {**versions.newest().files, "tests.toml": "".join(
        f'[{key}]\nbench = "chemistry"\naccepts = [{{matrix = "serum", tubes = ["serum"], volume_ul = 20}}]\n'
        for key in own
    )}  # fmt: skip
    versions.save_files("ada", 0, alone, "four tests")
    met = look_at_removal(TEST_FORM, versions.newest(), "chloride")
    assert [one.key for one in met.going] == ["electrolytes-panel"]
    with pytest.raises(SiteError, match="shipped panels electrolytes, which would go with it"):
        take_out(TEST_FORM, versions, "ada", 1, "chloride", "gone", with_panels=False)
    fresh = versions.propose(versions.newest(), {"tests.toml": {"chloride": None}}, today=DAY).fresh
    assert [str(one) for one in fresh if one.file == "panels.toml"] == [
        "panels.toml [electrolytes-panel]: found the panel electrolytes without chloride; expected every test that a "
        "panel stands for; the panel goes with them; keep the tests, or give it others"
    ]
    take_out(TEST_FORM, versions, "ada", 1, "chloride", "gone", with_panels=True)
    assert "electrolytes-panel" not in versions.newest().site.panels


def test_a_test_that_falls_back_to_the_shipped_one_takes_no_panel_with_it(versions: SiteVersions) -> None:
    versions.save("ada", 0, {"tests.toml": {"sodium": {"bench": "ward"}}}, "to the ward")
    met = look_at_removal(TEST_FORM, versions.newest(), "sodium")
    assert (met.holding, met.going) == ((), ())


def test_what_the_minutes_of_a_series_count_from_goes_with_the_series(versions: SiteVersions) -> None:
    key = "glucose-tolerance-75-g"
    found = edit(PANEL_FORM, versions, key, of="glucose-100-g")
    versions.save("ada", 0, found.entries, "a larger drink")
    panel = versions.newest().site.panels[key]
    assert (panel.anchor, panel.of, len(panel.series)) == ("drink", "glucose-100-g", 2)
    back = edit(PANEL_FORM, versions, key, of="glucose-75-g")
    assert back.entries == {"panels.toml": {key: None}}
    none = edit(PANEL_FORM, versions, key, anchor="", of="")
    versions.save("ada", 1, none.entries, "from the first draw")
    panel = versions.newest().site.panels[key]
    assert (panel.anchor, panel.of, len(panel.series)) == (None, None, 2)


@pytest.mark.parametrize(
    ("changed", "field", "said"),
    [
        ({"anchor": "drnik"}, "anchor", "such as drink"), ({"of": "glucose-76-g"}, "of", "such as glucose-75-g"),
        ({"tests": "glucose", **dict.fromkeys(STEPS, "")}, "anchor", "it beside series alone"),
    ],
)  # fmt: skip
def test_an_anchor_that_is_none_or_stands_without_a_series_is_told_at_its_field(
    versions: SiteVersions, changed: dict[str, str], field: str, said: str
) -> None:
    found = edit(PANEL_FORM, versions, "glucose-tolerance-75-g", **changed)
    assert not found.is_sound
    assert said in str(found.at_field[field][0])

"""The forms of a site's entries: what was typed becomes the least change of its files, findings at their fields."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from cubital import read_site
from cubital.app.site_editing import SiteVersions
from cubital.app.site_form import Edit, Form, look_at, open_form
from cubital.app.site_kind_form import KIND_FORM
from cubital.app.site_panel_form import PANEL_FORM
from cubital.app.site_policy_form import POLICY_FORM
from cubital.app.site_test_form import TEST_FORM
from cubital.app.wiring import open_site_versions, upgrade_store
from cubital.errors import SiteError
from cubital.facts.directory import HANDLING

DAY = datetime.date(2026, 11, 25)


class Typing(dict[str, Any]):
    """What a browser would send."""

    def said(self, name: str) -> str:
        """One value."""
        found = self.get(name, "")
        return found if isinstance(found, str) else ""

    def all_said(self, name: str) -> list[str]:
        """Several values."""
        found = self.get(name, [])
        return [found] if isinstance(found, str) else list(found)


@pytest.fixture
def versions(tmp_path: Path) -> Iterator[SiteVersions]:
    """The demo site, nothing saved."""
    path = str(tmp_path / "r.db")
    upgrade_store(path)
    found = open_site_versions(path, demo=True)
    yield found
    found.close()


def typed(form: Form, versions: SiteVersions, key: str, **changed: Any) -> Typing:
    """The form as it stands, as a browser would send it, with these fields changed."""
    values = open_form(form, versions, key, today=DAY).values
    sent = Typing(base=str(versions.newest().number))
    for name, value in values.items():
        if name in ("accepts", "sizes", "series"):
            for row, item in enumerate(value):
                for field, one in item.items():
                    sent[f"{name}.{row}.{field}"] = ", ".join(one) if isinstance(one, list) else str(one)
        elif name == "codes":
            sent[name] = "\n".join(f"{system} {code}" for system, code in value.items())
        elif name == "share_benches":
            sent[name] = "\n".join(", ".join(group) for group in value)
        elif name == "travel":
            sent[name] = "\n".join(f"{place}: {minutes}" for place, minutes in value.items())
        elif name == "dead_volume_ul":
            sent.update({f"dead_volume_ul.{matrix}": str(one) for matrix, one in value.items()})
        elif name == "place":
            how = next((how for how in ("after", "before", "with") if value and how in value), "")
            sent |= {"place.how": how, "place.kind": (value or {}).get(how, ""),
                     "place.because": (value or {}).get("because", "")}  # fmt: skip
        elif name == "accesses":
            sent[name] = list(value)
        elif name in HANDLING:
            continue
        elif isinstance(value, list):
            sent[name] = "\n".join(value)
        elif value not in (None, False):
            sent[name] = "1" if value is True else str(value)
    sent["handling"] = [term for term in HANDLING if values.get(term)]
    sent.update(changed)
    return sent


def edit(form: Form, versions: SiteVersions, key: str, **changed: Any) -> Edit:
    return look_at(form, versions, key, typed(form, versions, key, **changed), today=DAY)


@pytest.mark.parametrize(
    ("form", "keys"),
    [(TEST_FORM, "tests"), (KIND_FORM, "kinds"), (PANEL_FORM, "panels")],
)
def test_a_form_that_is_sent_as_it_was_opened_changes_nothing(versions: SiteVersions, form: Form, keys: str) -> None:
    for key in getattr(versions.newest().site, keys):
        found = edit(form, versions, key)
        assert (found.changed, found.entries) == ({}, {}), key


def test_the_policy_sent_as_it_was_opened_changes_nothing(versions: SiteVersions) -> None:
    assert edit(POLICY_FORM, versions, "").changed == {}


def test_only_the_changed_field_of_a_test_is_written_and_the_rest_stays_shipped(versions: SiteVersions) -> None:
    found = edit(TEST_FORM, versions, "glucose", bench="point of care")
    assert found.entries == {"tests.toml": {"glucose": {"bench": "point of care"}}}
    versions.save("ada", 0, found.entries, "to the ward")
    test, shipped = versions.newest().site.tests["glucose"], read_site().tests["glucose"]
    assert test.bench == "point of care"
    assert test.basis["accepts"] == shipped.basis["accepts"]
    assert test.accepts == shipped.accepts


def test_a_value_that_is_the_shipped_one_again_is_left_to_the_shipped_file(versions: SiteVersions) -> None:
    found = edit(TEST_FORM, versions, "vitamin-d", bench="immunochemistry")
    assert found.changed == {"bench": "immunochemistry"}
    assert found.entries == {"tests.toml": {"vitamin-d": None}}


def test_a_shipped_list_is_emptied_and_a_shipped_term_taken_away(versions: SiteVersions) -> None:
    found = edit(TEST_FORM, versions, "potassium", also="", handling=["no_fist"])
    assert found.entries["tests.toml"]["potassium"]["also"] == []
    versions.save("ada", 0, found.entries, "less said")
    test = versions.newest().site.tests["potassium"]
    assert (test.also, test.handling) == ((), ("no_fist",))


def test_a_shipped_moment_is_changed_taken_away_and_left_to_the_shipped_file_again(versions: SiteVersions) -> None:
    found = edit(TEST_FORM, versions, "vancomycin-peak", moment="")
    assert found.entries["tests.toml"]["vancomycin-peak"] == {"moment": False}
    versions.save("ada", 0, found.entries, "at any time")
    assert versions.newest().site.tests["vancomycin-peak"].moment is None
    back = edit(TEST_FORM, versions, "vancomycin-peak", moment="vancomycin-peak")
    assert back.entries == {"tests.toml": {"vancomycin-peak": None}}


@pytest.mark.parametrize(
    ("changed", "field", "level", "said"),
    [
        ({"moment": "full-moon"}, "moment", "error", "expected one of the"),
        ({"accepts.0.volume_ul": "20.5"}, "accepts.0.volume_ul", "error", "found 20.5; expected whole microlitres"),
        ({"accepts.0.volume_ul": "much"}, "accepts.0.volume_ul", "error", 'found "much"'),
        ({"accepts.0.minimum_ul": "40"}, "accepts.0.minimum_ul", "error", "at most volume_ul, 20"),
        ({"accepts.0.tubes": "heparin-gell"}, "accepts.0.tubes", "warning", "write heparin-gel"),
        ({"accepts.0.volume_ul": "90000"}, "accepts.0.minimum_ul", None, ""),
        ({"accepts.0.matrix": "sweat"}, "accepts.0.matrix", "error", "one of whole-blood, plasma, serum"),
        ({"codes": "loinc 2823-4"}, "codes", "warning", "check digit"),
        ({"also": "K\u0007"}, "also", "error", "printable text"),
        ({"bench": ""}, "bench", "warning", "the shipped one stays: chemistry"),
        ({"also": "sodium"}, "", "error", "which [sodium]"),
        ({"also": "K\nNa"}, "", "warning", "which [sodium]"),
    ],
)
def test_a_finding_stands_at_the_field_that_it_is_about(
    versions: SiteVersions, changed: dict[str, str], field: str, level: str | None, said: str
) -> None:
    found = edit(TEST_FORM, versions, "potassium", **changed)
    here = found.at_field.get(field, ())
    if level is None:
        assert here == ()
        return
    assert {one.level for one in here} == {level}
    assert any(said in str(one) for one in here), here
    assert all("quotes" not in one.remedy for some in found.at_field.values() for one in some)
    assert found.is_sound == (level != "error")


def test_a_row_left_empty_is_passed_over_and_findings_go_to_the_row_as_typed(versions: SiteVersions) -> None:
    sent = typed(TEST_FORM, versions, "potassium", **{
        "accepts.0.tubes": "", "accepts.0.volume_ul": "", "accepts.0.minimum_ul": "", "accepts.1.volume_ul": "x",
    })  # fmt: skip
    partial = look_at(TEST_FORM, versions, "potassium", sent, today=DAY, is_drawn_anew=False)
    assert "accepts.1.volume_ul" in partial.at_field
    whole = look_at(TEST_FORM, versions, "potassium", sent, today=DAY)
    assert "accepts.0.volume_ul" in whole.at_field
    assert len(whole.values["accepts"]) == 1


def test_what_a_term_says_in_words_stays_while_it_is_ticked(versions: SiteVersions) -> None:
    said = {"tests.toml": {"glucose": {"ice": "in slurry, not in cubes"}}}
    versions.save("ada", 0, said, "slurry")
    found = edit(TEST_FORM, versions, "glucose", bench="ward")
    assert found.entries["tests.toml"]["glucose"] == {"ice": "in slurry, not in cubes", "bench": "ward"}


def test_stock_and_expiry_of_a_size_are_changed_and_the_other_fields_of_the_file_stay(versions: SiteVersions) -> None:
    found = edit(KIND_FORM, versions, "citrate", **{"sizes.0.in_stock": "12", "sizes.0.expires": "2039-01-31"})
    entry = found.entries["tubes.toml"]["citrate"]
    assert entry["sizes"][0] == {
        "draw_ml": Decimal("1.8"), "liquid_additive_ul": 200, "in_stock": 12, "expires": datetime.date(2039, 1, 31),
    }  # fmt: skip
    assert set(found.changed) == {"sizes"}
    assert set(entry) == {"additive", "sizes", "dead_volume_ul"}
    versions.save("ada", 0, found.entries, "count")
    assert versions.newest().site.kinds["citrate"].sizes[0].in_stock == 12


def test_the_outer_diameter_of_a_size_is_kept_by_a_form_that_does_not_ask_for_it(versions: SiteVersions) -> None:
    sized = edit(KIND_FORM, versions, "citrate", **{"sizes.0.diameter_mm": "13"})
    versions.save("ada", 0, sized.entries, "measured")
    assert versions.newest().site.kinds["citrate"].sizes[0].diameter_um == 13_000
    found = edit(KIND_FORM, versions, "citrate", **{"sizes.0.in_stock": "12", "sizes.0.diameter_mm": ""})
    assert found.entries["tubes.toml"]["citrate"]["sizes"][0]["diameter_mm"] == 13


@pytest.mark.parametrize(
    ("changed", "field", "said"),
    [
        ({"sizes.0.draw_ml": "1800"}, "sizes.0.draw_ml", "write 1.8"),
        ({"sizes.0.expires": "31.01.2039"}, "sizes.0.expires", "write it as 2027-03-31"),
        ({"sizes.0.in_stock": "-1"}, "sizes.0.in_stock", "whole tubes from 0"),
        ({"sizes.0.liquid_additive_ul": "900"}, "sizes.0.liquid_additive_ul", "one part to 9 of blood"),
        ({"dead_volume_ul.plasma": "x"}, "dead_volume_ul.plasma", "whole microlitres"),
        ({"fill_min_percent": "120"}, "fill_min_percent", "whole percent from 1 to 100"),
        ({"sizes.0.in_stock": "0", "sizes.1.in_stock": "0"}, "sizes", "no lot that may be used"),
        ({"place.how": "after", "place.kind": "edtaa"}, "place", "write edta"),
    ],
)
def test_a_finding_of_a_kind_stands_at_its_field(
    versions: SiteVersions, changed: dict[str, str], field: str, said: str
) -> None:
    found = edit(KIND_FORM, versions, "citrate", **changed)
    assert any(said in str(one) for one in found.at_field.get(field, ())), found.at_field


def test_a_mark_that_another_kind_has_is_told(versions: SiteVersions) -> None:
    found = edit(KIND_FORM, versions, "edta", mark="C9")
    assert "a mark that no other kind has" in str(found.at_field["mark"][0])
    # The finding stands at the later of the two: at a form of the first it is one of another entry.
    assert any("E2" in one.found for one in edit(KIND_FORM, versions, "citrate", mark="E2").elsewhere)


def test_a_stopper_that_the_policy_names_is_changed_where_it_stands(versions: SiteVersions) -> None:
    found = edit(KIND_FORM, versions, "citrate", stopper="sky blue", inversions="4")
    assert set(found.entries) == {"site.toml", "tubes.toml"}
    assert found.entries["site.toml"]["stoppers"]["citrate"] == "sky blue"
    assert found.entries["site.toml"]["stoppers"]["edta"] == "violet"
    versions.save("ada", 0, found.entries, "words")
    kind = versions.newest().site.kinds["citrate"]
    assert (kind.stopper, kind.inversions) == ("sky blue", 4)


def test_emptying_what_the_shipped_kind_says_is_told_and_not_passed_over(versions: SiteVersions) -> None:
    found = edit(KIND_FORM, versions, "citrate", mark="")
    assert any("the shipped one stays: " in one.remedy for one in found.at_field["mark"])


def test_a_house_place_is_written_and_taken_out(versions: SiteVersions) -> None:
    found = edit(KIND_FORM, versions, "heparin", **{"place.how": "before", "place.kind": "citrate"})
    assert found.entries["site.toml"]["place"]["heparin"] == {"before": "citrate"}
    assert "acd-a" in found.entries["site.toml"]["place"]
    gone = edit(KIND_FORM, versions, "acd-a", **{"place.how": ""})
    assert "acd-a" not in gone.entries["site.toml"]["place"]


def test_a_new_test_and_a_new_kind_are_made_under_a_key_of_their_own(versions: SiteVersions) -> None:
    sent = Typing({
        "base": "0", "name": "lithium", "bench": "toxicology", "accepts.0.matrix": "serum", "accepts.0.tubes": "serum",
        "accepts.0.volume_ul": "200",
    })  # fmt: skip
    found = look_at(TEST_FORM, versions, "lithium-quick", sent, today=DAY, is_new=True)
    assert found.entries["tests.toml"]["lithium-quick"] == {
        "name": "lithium", "bench": "toxicology",
        "accepts": [{"matrix": "serum", "tubes": ["serum"], "volume_ul": 200}],
    }  # fmt: skip
    kind = Typing({"base": "0", "name": "broth", "additive": "k2-edta", "sizes.0.draw_ml": "2.0", "accesses": ["line"]})
    made = look_at(KIND_FORM, versions, "edta-house", kind, today=DAY, is_new=True)
    assert made.is_sound
    assert made.entries["tubes.toml"]["edta-house"]["accesses"] == ["line"]
    with pytest.raises(SiteError, match="already"):
        look_at(TEST_FORM, versions, "potassium", sent, today=DAY, is_new=True)
    with pytest.raises(SiteError, match="no such entry"):
        look_at(TEST_FORM, versions, "potasium", sent, today=DAY)


def test_the_policy_is_changed_field_by_field(versions: SiteVersions) -> None:
    found = edit(POLICY_FORM, versions, "", altitude_m="1500", share_benches="chemistry, serology", hematocrit="0.45")
    planning = found.entries["site.toml"]["planning"]
    assert (planning["altitude_m"], planning["share_benches"]) == (1500, [["chemistry", "serology"]])
    assert planning["recovery"] == Decimal("0.9")
    assert found.is_sound
    said = edit(POLICY_FORM, versions, "", hemolysis_band="yes")
    assert said.entries["site.toml"] == {"bench": {"hemolysis_band": True}}
    assert edit(POLICY_FORM, versions, "", hemolysis_band="").entries == {}
    wrong = edit(POLICY_FORM, versions, "", recovery="90", blood_limit="all of it", time_zone="Mars")
    assert {"recovery", "blood_limit", "time_zone"} <= set(wrong.at_field)
    bench = edit(POLICY_FORM, versions, "", share_benches="chemistry, no such bench")
    assert "a bench that runs a test" in str(bench.at_field["share_benches"][0])


def test_the_ways_of_tubes_are_changed_place_by_place_and_taken_out_when_emptied(versions: SiteVersions) -> None:
    found = edit(POLICY_FORM, versions, "", travel="ward: 30\nhome visit: 120", usual_travel_min="", windows="strict")
    assert found.is_sound
    assert found.entries["site.toml"]["travel"] == {"ward": 30, "home visit": 120}
    assert found.proposal.site is not None
    planning = found.proposal.site.planning
    assert (planning.usual_travel_min, planning.windows) == (None, "strict")
    emptied = edit(POLICY_FORM, versions, "", travel="")
    assert emptied.proposal.site is not None
    assert emptied.proposal.site.planning.travel_min == {}


def test_a_place_written_twice_or_without_minutes_is_found_beside_the_places(versions: SiteVersions) -> None:
    twice = edit(POLICY_FORM, versions, "", travel="ward: 30\nward: 25\nclinic")
    assert not twice.is_sound
    told = [str(one) for one in twice.at_field["travel"]]
    assert any('[travel] ward: found "30 and 25"' in one for one in told)
    assert any('[travel] clinic: found ""' in one for one in told)
    wrong = edit(POLICY_FORM, versions, "", whole_blood_tests="potassium, kalium of the ward")
    assert "the key of a test of this site" in str(wrong.at_field["whole_blood_tests"][0])
    wrong = edit(POLICY_FORM, versions, "", reserve_percent="400")
    assert "from 0 to 300" in str(wrong.at_field["reserve_percent"][0])


def test_of_two_forms_opened_at_once_each_keeps_what_the_other_changed_elsewhere(versions: SiteVersions) -> None:
    mine = typed(TEST_FORM, versions, "glucose", bench="ward")
    theirs = edit(TEST_FORM, versions, "glucose", also="sugar")
    versions.save("ben", 0, theirs.entries, "another name")
    found = look_at(TEST_FORM, versions, "glucose", mine, today=DAY)
    assert (found.is_stale, found.opened, found.base, found.clashes) == (True, 0, 1, {})
    assert (found.values["also"], found.values["bench"]) == (["sugar"], "ward")
    assert found.entries["tests.toml"]["glucose"] == {"also": ["sugar"], "bench": "ward"}


def test_a_field_that_both_changed_is_named_with_what_the_other_wrote(versions: SiteVersions) -> None:
    mine = typed(TEST_FORM, versions, "glucose", bench="ward")
    versions.save("ben", 0, edit(TEST_FORM, versions, "glucose", bench="night lab").entries, "moved")
    found = look_at(TEST_FORM, versions, "glucose", mine, today=DAY)
    assert found.clashes == {"bench": "night lab"}
    assert found.values["bench"] == "ward"


@pytest.mark.parametrize("base", ["7", "x", "-1", "9" * 30])
def test_a_form_of_a_version_that_is_none_is_refused(versions: SiteVersions, base: str) -> None:
    with pytest.raises(SiteError):
        edit(TEST_FORM, versions, "glucose", base=base)


def test_what_a_shipped_entry_is_changed_to_is_told_against_the_shipped_one(versions: SiteVersions) -> None:
    found = edit(TEST_FORM, versions, "glucose", bench="ward").proposal.changes
    assert [(one.entry, one.field, one.was, one.now) for one in found] == [("glucose", "bench", "chemistry", "ward")]
    back = edit(TEST_FORM, versions, "vitamin-d", bench="immunochemistry").proposal.changes
    assert [(one.field, one.was, one.now) for one in back] == [("bench", "special chemistry", "immunochemistry")]


@pytest.mark.parametrize("entry", [1, "chemistry", ["serum"], True])
def test_an_entry_that_is_no_table_is_refused_by_its_place_and_not_a_defect(versions: SiteVersions, entry: Any) -> None:
    proposal = versions.propose(versions.newest(), {"tests.toml": {"sodium": entry}}, today=DAY)
    assert proposal.site is None
    assert any(one.entry == "sodium" and one.level == "error" for one in proposal.findings)

"""The shipped directory: every tube, test and term it names exists, and no name or code stands for two."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any

import msgspec
import pytest

from cubital import facts
from cubital.errors import AmbiguousTest, FactsError, OrderError
from cubital.exchange.site_folder import read_site
from cubital.facts.directory import HANDLING, load_stability
from cubital.planning.directory import Directory
from cubital.planning.spellings import fold


def has_check_digit(code: str) -> bool:
    """Whether a LOINC code ends in its mod-10 check digit (the doubling method LOINC publishes)."""
    digits, check = code.split("-")
    total = 0
    for place, digit in enumerate(reversed(digits)):
        doubled = int(digit) * (2 if place % 2 == 0 else 1)
        total += doubled // 10 + doubled % 10
    return (10 - total % 10) % 10 == int(check)


def records() -> Iterator[tuple[str, Mapping[str, Any]]]:
    """Every test and every panel."""
    yield from facts.tests_table().items()
    yield from facts.panels_table().items()


def test_there_are_at_least_450_tests_and_90_panels() -> None:
    assert len(facts.tests_table()) >= 450
    assert len(facts.panels_table()) >= 90


def test_every_test_accepts_kinds_that_exist_and_give_its_matrix() -> None:
    for key, test in facts.tests_table().items():
        for accept in test.get("accepts", ()):
            for kind in accept["tubes"]:
                assert accept["matrix"] in facts.tube_table()[kind]["dead_volume_ul"], f"{key} {kind}"
            assert len(set(accept["tubes"])) == len(accept["tubes"]), key


def test_every_test_fits_the_largest_size_of_a_kind_at_the_highest_adult_hematocrit() -> None:
    for key, test in facts.tests_table().items():
        if "accepts" in test:
            assert any(_fits(accept, kind) for accept in test["accepts"] for kind in accept["tubes"]), key


def _fits(accept: Mapping[str, Any], kind: str) -> bool:
    entry = facts.tube_table()[kind]
    size = max(entry["sizes"], key=lambda s: s["draw_ml"])
    blood_ul = size["draw_ml"] * 1000
    dead_ul = entry["dead_volume_ul"][accept["matrix"]]
    if accept["matrix"] == "whole-blood":
        return bool(accept["volume_ul"] <= blood_ul - dead_ul)
    fluid_ul = (blood_ul * Decimal("0.5") + size.get("liquid_additive_ul", 0)) * Decimal("0.9")
    return bool(accept["volume_ul"] <= fluid_ul - dead_ul)


# Trade facts: common practice, no source.
def test_the_special_tubes_serve_what_the_trade_says_they_serve() -> None:
    served: dict[str, set[str]] = {kind: set() for kind in facts.tube_table()}
    for key, test in facts.tests_table().items():
        for accept in test.get("accepts", ()):
            for kind in accept["tubes"]:
                served[kind].add(key)
    assert served["citrate-sedimentation"] == {"erythrocyte-sedimentation-rate-citrate"}
    assert served["lead"] == {"lead"}
    assert served["lead-micro"] == {"lead-capillary"}
    assert served["acd-a"] == served["acd-b"] == {"hla-typing"}
    assert served["edta-gel"] == {
        "hiv-viral-load", "hepatitis-b-viral-load", "hepatitis-c-viral-load", "cytomegalovirus-dna",
    }  # fmt: skip
    assert {"glucose", "lactate", "ethanol", "glucose-tolerance-0-min"} <= served["fluoride-oxalate"]
    assert {"ammonia", "sodium", "potassium", "venous-blood-gas"} <= served["heparin"]
    assert {"erythrocyte-sedimentation-rate", "complete-blood-count"} <= served["edta"]
    bank = {"abo-rh-group", "group-check", "type-and-screen", "crossmatch"}
    assert bank <= served["edta-blood-bank"] - served["edta"]
    assert "lithium" not in served["heparin"] | served["heparin-gel"] | served["iodoacetate-heparin"]
    assert served["ammonium-heparin"] == set()


def test_handling_terms_are_explained_and_only_those_are_carried() -> None:
    assert set(facts.handling_terms()) == set(HANDLING)
    used = {term for test in facts.tests_table().values() for term in HANDLING if term in test}
    assert used == set(HANDLING)


def test_every_panel_holds_tests_that_exist_each_once() -> None:
    for key, panel in facts.panels_table().items():
        groups = [panel.get("tests", []), *(step["tests"] for step in panel.get("series", ()))]
        for group in groups:
            assert set(group) <= set(facts.tests_table()), key
            assert len(set(group)) == len(group), key


def test_no_name_or_abbreviation_stands_for_two_entries_whatever_its_case() -> None:
    owners: dict[str, str] = {}
    for key, entry in records():
        for name in {key, entry["name"], *entry.get("also", ())}:
            folded = "".join(c for c in name.casefold() if c.isalnum())
            assert owners.setdefault(folded, key) == key, f"{name}: {key} and {owners[folded]}"
    for name, choices in facts.ambiguous().items():
        assert "".join(c for c in name.casefold() if c.isalnum()) not in owners, name
        assert set(choices) <= set(owners.values()), name


def test_every_loinc_code_has_its_check_digit_and_stands_on_one_entry() -> None:
    codes = [entry["codes"]["loinc"] for _, entry in records() if "codes" in entry]
    assert len(codes) > 300
    assert [code for code in codes if not has_check_digit(code)] == []
    assert len(set(codes)) == len(codes)
    assert not has_check_digit("2823-4")


# FHIR R4 examples (read): a free T4 by LOINC 3024-7, a lipid panel by the site code LIPID.
def test_the_published_requests_find_their_entries() -> None:
    assert facts.tests_table()["free-thyroxine"]["codes"] == {"loinc": "3024-7"}
    assert "LIPID" in facts.panels_table()["lipid-panel"]["also"]


def test_every_test_says_how_long_it_keeps_or_that_nobody_knows() -> None:
    known, unknown = set(facts.stability()), set(facts.unknown_stability())
    assert known | unknown == set(facts.tests_table())
    assert not known & unknown
    assert {"hla-typing", "crossmatch"} <= unknown
    assert "sodium" in known


def test_a_time_beside_an_unknown_one_is_refused() -> None:
    mark = {"basis": "memory", "source": "memory"}
    assert load_stability({"a": {"unknown": True, "marks": [mark]}}, file="own.toml")["a"].unknown
    with pytest.raises(FactsError, match=r"own.toml \[a\].*a time beside unknown"):
        load_stability({"a": {"unknown": True, "ambient_min": 5, "marks": [mark]}}, file="own.toml")


def test_whole_blood_tests_that_are_not_spun_have_no_time_to_separation() -> None:
    for key, keeps in facts.stability().items():
        if facts.tests_table()[key].get("do_not_spin"):
            assert keeps.separate_within_min is None, key


def test_no_word_that_is_not_for_blood_is_a_word_of_the_shipped_directory() -> None:
    words = {fold(word) for entry in facts.elsewhere().values() for word in entry.words}
    names = {fold(name) for _, entry in records() for name in (entry["name"], *entry.get("also", ()))}
    assert not words & names


@pytest.mark.parametrize(
    ("word", "key"),
    [
        ("type & screen", "type-and-screen"), ("group and save", "type-and-screen"), ("FBS", "glucose-tolerance-0-min"),
        ("factor 8", "factor-viii"), ("VWF antigen", "von-willebrand-factor-antigen"), ("BCX", "blood-culture"),
        ("CBC w/ diff", "complete-blood-count-with-differential"),
        ("uric acid", "urate"), ("alk phos", "alkaline-phosphatase"),
    ],
)  # fmt: skip
def test_the_trade_s_other_words_are_understood(word: str, key: str) -> None:
    assert Directory(read_site()).resolve(word) == ("test", key)


def test_a_name_of_a_blood_test_and_of_a_urine_test_is_asked() -> None:
    for word in ("UA", "u/a"):
        with pytest.raises(AmbiguousTest, match="for a test of urine, which is not blood") as caught:
            Directory(read_site()).resolve(word)
        assert caught.value.choices == ("urate",)


def test_a_site_that_gives_such_a_name_to_its_test_is_understood() -> None:
    site = read_site()
    urate = msgspec.structs.replace(site.tests["urate"], also=("UA",))
    own = msgspec.structs.replace(site, tests={**site.tests, "urate": urate})
    assert Directory(own).resolve("UA") == ("test", "urate")


def test_where_the_blood_test_is_not_done_such_a_name_is_unknown_and_planned_as_nothing() -> None:
    site = read_site()
    without = msgspec.structs.replace(site, tests={k: t for k, t in site.tests.items() if k != "urate"}, panels={})
    with pytest.raises(OrderError):
        Directory(without).resolve("UA")


def test_every_blood_test_that_such_a_name_may_mean_is_in_the_directory() -> None:
    meant = {key for entry in facts.elsewhere().values() for key in entry.perhaps.values()}
    assert meant <= set(facts.tests_table())


def test_a_tolerance_test_without_its_dose_is_asked() -> None:
    for word in ("OGTT", "GTT", "oral glucose tolerance test", "glucose tolerance"):
        with pytest.raises(AmbiguousTest) as caught:
            Directory(read_site()).resolve(word)
        assert len(caught.value.choices) == 3

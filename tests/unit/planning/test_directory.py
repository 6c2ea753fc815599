"""What a name, an abbreviation or a code stands for at a site."""

from __future__ import annotations

import time

import pytest
from msgspec.structs import replace

from cubital.errors import AmbiguousTest, NotBloodTest, UnknownTest
from cubital.model import Panel, Site, Test
from cubital.planning.directory import Directory, has_loinc_check_digit
from cubital.planning.spellings import fold

SITE = Site(
    name="a site (invented)",
    kinds={},
    tests={
        "potassium": Test(key="potassium", name="Potassium", also=("K",), codes={"loinc": "2823-3"}, bench="chemistry"),
        "vitamin-b12": Test(
            key="vitamin-b12", name="Vitamin B12", also=("B12",), codes={"loinc": "2132-9"}, bench="immuno"
        ),
        "calcium": Test(key="calcium", name="Calcium, total", bench="chemistry"),
        "ca-125": Test(key="ca-125", name="Cancer antigen 125", also=("CA 125",), bench="immuno"),
        "estradiol": Test(key="estradiol", name="Estradiol", also=("E2",), bench="immuno"),
        "reticulocytes": Test(key="reticulocytes", name="Reticulocytes", also=("RETIC",), bench="counts"),
        "reticulocyte-share": Test(
            key="reticulocyte-share", name="Reticulocytes, share", also=("RETIC%",), bench="counts"
        ),
    },
    panels={
        "lipid-panel": Panel(
            key="lipid-panel",
            name="Lipid panel",
            also=("Lipids",),
            codes={"http://acme.org/tests": "LIPID", "loinc": "57698-3"},
            tests=("potassium",),
        )
    },
    ambiguous={"CA": ("calcium", "ca-125")},
)
DIRECTORY = Directory(SITE)


@pytest.mark.parametrize("text", ["potassium", "POTASSIUM", "K", "k", " k ", "2823-3"])
def test_a_test_is_found_by_key_name_abbreviation_and_bare_code_whatever_the_case(text: str) -> None:
    assert DIRECTORY.resolve(text) == ("test", "potassium")


@pytest.mark.parametrize(
    "text", ["Vitamin B-12", "vitamin b 12", "VITAMIN-B12", "vitaminb12", "b-12", "ＶＩＴＡＭＩＮ B12"]
)
def test_hyphens_spaces_and_punctuation_do_not_matter(text: str) -> None:
    assert DIRECTORY.resolve(text) == ("test", "vitamin-b12")


def test_a_percent_sign_tells_a_share_from_a_count() -> None:
    assert DIRECTORY.resolve("Retic %") == ("test", "reticulocyte-share")
    assert DIRECTORY.resolve("Retic") == ("test", "reticulocytes")


def test_a_panel_is_told_from_a_test() -> None:
    assert DIRECTORY.resolve("lipids") == ("panel", "lipid-panel")
    assert DIRECTORY.resolve("57698-3") == ("panel", "lipid-panel")


def test_a_code_of_loinc_is_looked_up_among_loinc_codes_only() -> None:
    assert DIRECTORY.resolve("2823-3", system="http://loinc.org") == ("test", "potassium")
    with pytest.raises(UnknownTest):
        DIRECTORY.resolve("K", system="http://loinc.org")


def test_a_code_of_a_site_system_may_be_a_code_or_an_abbreviation_of_the_site() -> None:
    assert DIRECTORY.resolve("LIPID", system="http://acme.org/tests") == ("panel", "lipid-panel")
    assert DIRECTORY.resolve("lipid", system="urn:oid:1.2.3") == ("panel", "lipid-panel")
    assert DIRECTORY.resolve("E2", system="urn:oid:1.2.3") == ("test", "estradiol")


def test_a_code_of_a_terminology_of_other_matters_is_never_read_as_an_abbreviation() -> None:
    with pytest.raises(UnknownTest):
        DIRECTORY.resolve("E2", system="http://hl7.org/fhir/sid/icd-10")


def test_an_ambiguous_abbreviation_is_asked_of_the_user_with_its_choices() -> None:
    with pytest.raises(AmbiguousTest) as caught:
        DIRECTORY.resolve("ca", where="tests[0]")
    assert caught.value.choices == ("calcium", "ca-125")
    assert caught.value.where == "tests[0]"
    assert "calcium, ca-125" in str(caught.value)


def test_a_name_that_two_tests_claim_is_ambiguous_and_a_key_is_not() -> None:
    twins = {k: Test(key=k, name="Twin", bench="b") for k in ("twin-one", "twin-two")}
    directory = Directory(Site(name="s", kinds={}, tests=twins))
    with pytest.raises(AmbiguousTest) as caught:
        directory.resolve("twin")
    assert caught.value.choices == ("twin-one", "twin-two")
    assert directory.resolve("Twin One") == ("test", "twin-one")


def test_an_unknown_test_comes_with_near_misses() -> None:
    with pytest.raises(UnknownTest) as caught:
        DIRECTORY.resolve("potasium")
    assert caught.value.near[0] == "potassium"
    assert len(caught.value.near) <= 5
    assert "near: potassium" in str(caught.value)


def test_a_far_word_has_no_near_misses_and_is_never_guessed() -> None:
    with pytest.raises(UnknownTest) as caught:
        DIRECTORY.resolve("xylophone")
    assert caught.value.near == ()


@pytest.mark.parametrize("text", ["", "   ", "***", "x" * 100_000])
def test_text_that_names_nothing_is_unknown(text: str) -> None:
    with pytest.raises(UnknownTest) as caught:
        DIRECTORY.resolve(text)
    assert len(str(caught.value)) < 400


def test_a_wrong_check_digit_of_a_loinc_code_is_said() -> None:
    with pytest.raises(UnknownTest, match="check digit is wrong"):
        DIRECTORY.resolve("2823-4")
    with pytest.raises(UnknownTest) as caught:
        DIRECTORY.resolve("1751-7")
    assert "check digit" not in str(caught.value)


@pytest.mark.parametrize("code", ["2823-3", "57698-3", "29463-7", "4544-3", "20570-8", "600-7", "3024-7"])
def test_published_loinc_codes_pass_the_check_digit(code: str) -> None:
    assert has_loinc_check_digit(code)


def test_a_search_puts_the_exact_name_first_then_beginnings_then_the_rest() -> None:
    hits = DIRECTORY.search("K")
    assert (hits[0].key, hits[0].rank) == ("potassium", 0)
    keys = [hit.key for hit in DIRECTORY.search("retic")]
    assert keys == ["reticulocytes", "reticulocyte-share"]
    assert [hit.key for hit in DIRECTORY.search("antigen")] == ["ca-125"]
    assert [hit.key for hit in DIRECTORY.search("b12 vitamin")] == ["vitamin-b12"]


def test_a_search_for_an_ambiguous_abbreviation_lists_what_it_may_mean() -> None:
    hits = DIRECTORY.search("CA")
    assert {hit.key for hit in hits if hit.rank == 0} == {"calcium", "ca-125"}


def test_a_search_gives_at_most_the_limit_and_nothing_for_nothing() -> None:
    assert len(DIRECTORY.search("c", 1)) == 1
    assert DIRECTORY.search("", 5) == []
    assert DIRECTORY.search("c", 0) == []


def test_a_search_by_code_finds_the_test() -> None:
    assert DIRECTORY.search("2132-9")[0].key == "vitamin-b12"


def test_folding_keeps_letters_of_every_script() -> None:
    assert fold("β-hCG") == "βhcg"
    assert fold("ß") == "ss"


def test_a_directory_of_a_thousand_tests_is_indexed_in_a_moment() -> None:
    tests = {
        f"test-{i}": Test(key=f"test-{i}", name=f"Test number {i}", also=(f"T{i}", f"T no. {i}"), bench="b")
        for i in range(1000)
    }
    site = Site(name="s", kinds={}, tests=tests)
    spent_s = []
    for _ in range(5):
        start = time.perf_counter()
        directory = Directory(site)
        spent_s.append(time.perf_counter() - start)
    assert directory.resolve("t no 999") == ("test", "test-999")
    assert min(spent_s) < 0.2


@pytest.mark.parametrize(
    ("words", "asked_for"),
    [
        ("chest CT", "imaging"),
        ("X-ray, chest", "imaging"),
        ("XRAY", "imaging"),
        ("urine culture", "urine"),
        ("24 h urine", "urine"),
        ("stool culture", "stool"),
        ("CSF glucose", "another body fluid"),
        ("12-lead ECG", "a procedure"),
    ],
)
def test_words_that_ask_for_something_else_than_blood_are_refused_as_that(words: str, asked_for: str) -> None:
    with pytest.raises(NotBloodTest, match=f"asks for {asked_for}.*; send it elsewhere") as caught:
        Directory(SITE).resolve(words, where="tests[0]")
    assert caught.value.where == "tests[0]"


def test_a_name_of_the_directory_is_a_blood_test_whatever_words_it_holds() -> None:
    scan = Test(key="scan", name="Antibody scan", also=("CT",), bench="blood bank")
    directory = Directory(replace(SITE, tests={"scan": scan}))
    assert directory.resolve("antibody scan") == directory.resolve("ct") == ("test", "scan")
    with pytest.raises(UnknownTest):
        directory.resolve("scanning")


@pytest.mark.parametrize("system", ["http://loinc.org", "http://snomed.info/sct"])
def test_a_foreign_code_is_not_read_as_words(system: str) -> None:
    with pytest.raises(UnknownTest):
        Directory(SITE).resolve("CT", system=system)

"""Which names come near a word that nobody knows: a table of words with what is offered first and what never is."""

from __future__ import annotations

import string
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from cubital import facts
from cubital.app.wiring import open_site
from cubital.errors import UnknownTest
from cubital.planning.directory import MOST_NEAR, Directory
from cubital.planning.nearness import NearNames, begins_nearly, distance, is_numeral, parts_of, slips

SITE = open_site()
DIRECTORY = Directory(SITE)

# Words as requests misspell them and words of tests that the directory lacks. The words are of this project, from what
# the trade writes; each is unknown by itself.
OFFERED_FIRST = [
    ("potasium", "potassium"),
    ("serum potasium level", "potassium"),
    ("pottassium", "potassium"),
    ("ptoassium", "potassium"),
    ("serum Sodum level", "sodium"),
    ("creatnine", "creatinine"),
    ("trigliceride", "triglycerides"),
    ("ferittin", "ferritin"),
    ("haptoglobine", "haptoglobin"),
    ("c reactive protien", "c-reactive-protein"),
    ("pro calcitonine", "procalcitonin"),
    ("d-dimmer", "d-dimer"),
    ("troponine T", "troponin-t"),
    ("acetaminofen", "acetaminophen"),
    ("paracetamoll", "acetaminophen"),
    ("digoxine levels", "digoxin"),
    ("sirolimus trough", "sirolimus"),
    ("lithum", "lithium"),
    ("vitamine B12", "vitamin-b12"),
    ("protien C", "protein-c"),
    ("factor VIII activities", "factor-viii"),
    ("osmolarity", "osmolality"),
    ("ammonium", "ammonia"),
    ("glucos", "glucose"),
    ("sed rte", "erythrocyte-sedimentation-rate"),
    ("leukocite count", "white-cell-count"),
    ("ceruloplasmine", "ceruloplasmin"),
    ("amylase isoenzymes", "amylase"),
    ("lactate dehydrogenase isoenzymes", "lactate-dehydrogenase"),
    ("prolactine", "prolactin"),
    ("reactive protein", "c-reactive-protein"),
    ("hormone binding globulin", "sex-hormone-binding-globulin"),
    ("blood culture x2", "blood-culture"),
    ("blood cultures 2x", "blood-culture"),
    ("XM 2 units", "crossmatch"),
]
# What stands beside each word must never be offered for it; "*" is anything at all.
NEVER = [
    ("protein Q", "*"),
    ("platinum", "*"),
    ("strychnine", "*"),
    ("ferricyanide", "*"),
    ("vitamin K3", "*"),
    ("vitamin B7", "*"),
    ("factor XIV", "*"),
    ("factor IV", "*"),
    ("protein Z", "*"),
    ("tin", "*"),
    ("gold", "*"),
    ("nitrate", "*"),
    ("nicotine", "*"),
    ("estriol", "estradiol"),
    ("estrone", "*"),
    ("cancer antigen 50", "*"),
    ("troponin C", "*"),
    ("hepatitis F", "*"),
    ("anti-Jones", "*"),
    ("zika", "*"),
    ("interleukin 9", "*"),
    ("substance P", "*"),
    ("beta-2-glycoprotein IV", "*"),
    ("diquat", "*"),
    ("quantiferon gold", "*"),
    ("melatonin", "*"),
    ("phenothiazines", "*"),
    ("bradykinin", "*"),
    ("rubidium", "*"),
    ("xylophone", "*"),
]


def near(text: str) -> tuple[str, ...]:
    """What is offered for this word, which must be unknown: a test that the directory gains would prove nothing."""
    with pytest.raises(UnknownTest) as caught:
        DIRECTORY.resolve(text)
    return caught.value.near


@pytest.mark.parametrize(("text", "key"), OFFERED_FIRST)
def test_a_slip_or_a_word_too_many_offers_the_test_that_was_meant_first(text: str, key: str) -> None:
    assert near(text)[:1] == (key,)


@pytest.mark.parametrize(("text", "key"), NEVER)
def test_a_word_of_another_substance_is_never_offered(text: str, key: str) -> None:
    offered = near(text)
    assert offered == () if key == "*" else key not in offered


def test_the_table_holds_at_least_thirty_words_of_each() -> None:
    assert len(OFFERED_FIRST) >= 30
    assert len(NEVER) >= 30


NAMES = sorted({test.name for test in SITE.tests.values() if test.name.isalpha() and len(test.name) >= 8})


@given(st.sampled_from(NAMES), st.integers(1, 100), st.sampled_from(string.ascii_lowercase), st.integers(0, 2))
def test_typing_finds_every_name_with_one_letter_wrong_missing_or_too_many(
    name: str, at: int, letter: str, kind: int
) -> None:
    at = 1 + at % (len(name) - 1)
    wrong = name[:at] + ("" if kind == 2 else letter) + name[at + (0 if kind == 1 else 1) :]
    found = [hit.name for hit in DIRECTORY.search(wrong)]
    assert name in found


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("assium", "potassium"), ("xin", "digoxin"), ("potasi", "potassium"), ("prolcat", "prolactin"),
        ("zink", "zinc"),
    ],
)
def test_typing_finds_a_name_by_its_middle_and_by_a_beginning_with_one_letter_wrong(text: str, key: str) -> None:
    assert key in [hit.key for hit in DIRECTORY.search(text)]


def test_typing_six_letters_is_what_a_wrong_beginning_needs() -> None:
    names = NearNames([("retinol", ("retinol",))])
    assert names.begun_nearly("retino") == ["retinol"]
    assert names.begun_nearly("renino") == ["retinol"]
    assert names.begun_nearly("renin") == []
    assert NearNames([("zinc", ("zinc",))]).begun_nearly("zink") == ["zinc"]


@given(st.text(max_size=80))
def test_whatever_is_asked_what_comes_near_is_of_the_directory_and_at_most_five(text: str) -> None:
    keys = DIRECTORY.near(text)
    assert len(keys) <= MOST_NEAR
    assert len(set(keys)) == len(keys)
    assert all(key in SITE.tests or key in SITE.panels for key in keys)


@given(st.text("abc", max_size=6), st.text("abc", max_size=6))
def test_a_distance_is_the_same_both_ways_and_nought_for_equals_alone(a: str, b: str) -> None:
    assert distance(a, b, 6) == distance(b, a, 6)
    assert (distance(a, b, 6) == 0) == (a == b)


@pytest.mark.parametrize(
    ("asked", "name", "wrong"),
    [
        ("ura", "urea", None), ("lyme", "lyte", None), ("urae", "urea", 1), ("area", "urea", None),
        ("sodiam", "sodium", 1),
        ("soddium", "sodium", 1), ("rsodium", "sodium", None), ("prolectan", "prolactin", 2),
        ("brolactin", "prolactin", 1), ("cd4", "cd8", None), ("hba1c", "hba2c", None),
    ],
)  # fmt: skip
def test_a_slip_is_one_letter_of_five_and_two_of_eight_and_never_a_figure(
    asked: str, name: str, wrong: int | None
) -> None:
    assert slips(asked, name) == wrong


@pytest.mark.parametrize(
    ("asked", "word", "begins"), [("sodi", "sodium", True), ("soid", "sodium", True), ("sxxium", "sodium", False)]
)
def test_a_beginning_may_have_one_letter_wrong(asked: str, word: str, begins: bool) -> None:
    assert begins_nearly(asked, word) is begins


def test_near_names_of_a_thousand_tests_are_found_in_a_moment_of_the_processor() -> None:
    tests = {
        f"{key}-{number}": replace(test, key=f"{key}-{number}", name=f"{test.name} {number} kind", codes={})
        for number in range(4)
        for key, test in SITE.tests.items()
    }
    directory = Directory(replace(SITE, tests={**SITE.tests, **tests}))
    directory.search("potasium")
    for text in ("potasium", "direct renin", "lactate dehydrogenase isoenzymes", "x" * 80):
        spent_s = []
        for _ in range(5):
            start = time.process_time()
            directory.near(text)
            spent_s.append(time.process_time() - start)
        assert min(spent_s) < 0.02


def test_a_numeral_is_told_from_a_word() -> None:
    assert [word for word in ("c", "t4", "viii", "b12", "25", "igg", "zinc") if is_numeral(word)] == [
        "c", "t4", "viii", "b12", "25",
    ]  # fmt: skip


def test_british_and_american_spellings_and_plurals_are_one_word() -> None:
    assert parts_of("Oestradiols") == parts_of("estradiol")
    assert parts_of("leucocytes") == ("leucocyte",)


def test_words_that_say_nothing_and_words_that_only_tell_apart_are_not_the_same_words() -> None:
    words = facts.name_words()
    assert not set(words["silent"].words) & set(words["qualifier"].words)

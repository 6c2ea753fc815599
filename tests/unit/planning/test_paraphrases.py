"""Names that say the same in other words."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from cubital.errors import AmbiguousTest, UnknownTest
from cubital.model import Site, Test
from cubital.planning.directory import Directory
from cubital.planning.paraphrases import is_short_for, names_within, wording
from tests.published.shipped import SHIPPED


def made(key: str, *also: str, name: str | None = None) -> Test:
    return Test(key=key, name=name or key.replace("-", " "), also=also, bench="b")


SITE = Site(
    name="s", kinds={}, ambiguous={"thyroxine": ("free-thyroxine", "total-thyroxine")},
    tests={
        test.key: test
        for test in (
            made("hepatitis-c-antibody"), made("vitamin-a"), made("factor-xiii", name="factor XIII activity"),
            made("free-thyroxine", "FT4"), made("total-thyroxine", "T4"), made("corticotropin", "ACTH"),
            made("calcium", "Ca"), made("bcr", "BCR"), made("newborn-screening"),
            made("anti-hbs", name="anti-HBs"), made("urate", name="urate (uric acid)"),
            made("alanine-aminotransferase", "ALT"), made("aspartate-aminotransferase", "AST"),
            made("clauss-fibrinogen"), made("fibrinogen-clauss-derived"), made("rubella-igg"),
        )
    },
)  # fmt: skip
DIRECTORY = Directory(SITE)


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("Hep C virus Ab", "hepatitis-c-antibody"), ("antibody to hepatitis C", "hepatitis-c-antibody"),
        ("HBs antibodies titre", "anti-hbs"), ("Factor 13, Activity", "factor-xiii"),
        ("A, vitamin", "vitamin-a"),
        ("Anti-rubella IgG antibodies", "rubella-igg"), ("Thyroxine, Free, measured", "free-thyroxine"),
        ("Alanine Aminotransferase (ALT)", "alanine-aminotransferase"), ("urate", "urate"),
        ("uric acid urate", "urate"),
        ("Asparate Aminotransferase (AST)", "aspartate-aminotransferase"),
        ("Thyroxine (T4)", "total-thyroxine"), ("thyroxine / FT4", "free-thyroxine"), ("Calcium (CA)", "calcium"),
        ("Hepatitis C antibody (HCAB)", "hepatitis-c-antibody"), ("Calcium - CA", "calcium"),
        ("Antihepatitis C", "hepatitis-c-antibody"), ("thyroxine (total)", "total-thyroxine"),
    ],
)  # fmt: skip
def test_a_name_in_other_words_is_the_test_that_has_these_words(text: str, key: str) -> None:
    assert DIRECTORY.resolve(text) == ("test", key)


@pytest.mark.parametrize(
    "text",
    [
        "hepatitis C", "hepatitis antibody", "vitamin", "factor XII activity", "free", "the test of", "level",
        "rubella IgM antibody", "Calcium (newborn)", "Calcium (ICA)", "calcium / ALT", "Alanine Aminotransferase (AST)",
        "(newborn)", "uric acid (24 h)", "calcium + urate", "urgent bloods", "profile",
        "antibody screening", "whole blood calcium", "cord blood calcium",
    ],
)  # fmt: skip
def test_a_name_with_another_word_or_another_second_name_stays_unknown(text: str) -> None:
    with pytest.raises(UnknownTest):
        DIRECTORY.resolve(text)


def test_what_names_two_tests_in_other_words_is_asked() -> None:
    site = Site(name="s", kinds={}, tests={k: made(k) for k in ("lupus-panel", "panel-of-a-lupus")})
    two = {"lupus-panel": made("lupus-panel"), "x": made("x", "profile of lupus")}
    same = Site(name="s", kinds={}, tests=two)
    assert Directory(site).resolve("lupus profile") == ("test", "lupus-panel")
    with pytest.raises(AmbiguousTest) as caught:
        Directory(same).resolve("panel, lupus")
    assert set(caught.value.choices) == {"lupus-panel", "x"}
    with pytest.raises(AmbiguousTest) as caught:
        DIRECTORY.resolve("thyroxine assay")
    assert set(caught.value.choices) == {"free-thyroxine", "total-thyroxine"}


def test_a_matrix_is_left_out_only_where_the_test_is_taken_so() -> None:
    shipped = Directory(SHIPPED)
    assert shipped.resolve("iron, serum") == shipped.resolve("blood, iron") == ("test", "iron")
    for text in ("ammonia, serum", "iron, whole blood", "renin, serum"):
        with pytest.raises(UnknownTest):
            shipped.resolve(text)


def test_a_code_is_never_read_in_other_words() -> None:
    with pytest.raises(UnknownTest):
        DIRECTORY.resolve("Hep C virus Ab", system="http://loinc.org")


def test_a_letter_that_names_a_test_is_no_word_to_leave_out() -> None:
    assert wording("vitamin A") != wording("vitamin")
    assert wording("factor V") != wording("factor X")
    assert wording("anti") == ("anti",)
    assert wording("iron bloods") == wording("iron profile") != wording("iron, blood")


@pytest.mark.parametrize(
    ("short", "name", "expected"),
    [
        ("ALT", "Alanine Aminotransferase", True), ("RDT", "Malaria Rapid Diagnostic Test", True),
        ("ICA", "Calcium", False), ("Alt", "Alanine Aminotransferase", False), ("A", "Albumin", False),
        ("BASAL", "Basal cortisol", True), ("GDM", "Glucose", False),
    ],
)  # fmt: skip
def test_capitals_are_short_for_a_name_that_has_them_in_this_order(short: str, name: str, expected: bool) -> None:
    assert is_short_for(short, name) is expected


def test_brackets_and_strokes_hold_second_names() -> None:
    assert names_within("a (b)/c") == ("a", "c", "b")
    assert names_within("a") == names_within("(a)") == ()
    assert names_within("alkaline (ALP) phosphatase") == ("alkaline phosphatase", "ALP")


def test_near_names_stand_in_one_order_whatever_the_seed_of_hashes() -> None:
    program = (
        "from cubital.app.wiring import open_site; from cubital.planning.directory import Directory;"
        "d = Directory(open_site()); "
        "print(d.near('factor assays xy'), d.near('neutrophil counting'), d.near('globulin'))"
    )
    said = {
        subprocess.run(
            [sys.executable, "-c", program],
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("1", "2", "3")
    }
    assert len(said) == 1

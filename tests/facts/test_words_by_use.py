"""Panels by what they are for, and the spellings, plurals, levels, titres and old names of tests."""

from __future__ import annotations

import pytest

from cubital.errors import AmbiguousTest, NotBloodTest, UnknownTest
from cubital.planning.directory import Directory
from tests.published.shipped import SHIPPED

DIRECTORY = Directory(SHIPPED)


def means(word: str) -> set[str]:
    """The key that this word resolves to, or every one that it is asked for."""
    try:
        return {DIRECTORY.resolve(word)[1]}
    except AmbiguousTest as error:
        return set(error.choices)


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("stroke-panel", ("stroke", "stroke bloods", "stroke profile", "Stroke panel")),
        ("sepsis-set", ("sepsis", "septic screen", "sepsis bundle", "sepsis profile", "neutropenic sepsis")),
        ("trauma-set", ("trauma", "major trauma bloods", "trauma panel", "polytrauma")),
        ("metabolic-crisis", ("metabolic crisis", "metabolic crisis of a newborn", "metabolic crisis panel")),
        ("preoperative-panel", ("pre-op", "preop bloods", "pre-operative profile", "preoperative")),
        ("prenatal-panel", ("antenatal", "antenatal profile", "booking bloods", "prenatal panel")),
        ("thrombophilia-panel", ("thrombophilia", "thrombophilia screening", "hypercoagulability screen")),
        ("overdose-panel", ("overdose", "drug overdose", "overdose bloods", "overdose profile")),
        ("coagulation-screen", ("coags", "clotting screen", "coagulation profile", "coag screening")),
        ("preeclampsia-set", ("pre-eclampsia", "preeclampsia panel", "pre-eclampsia bloods", "HELLP")),
        ("unknown-fever-set", ("PUO", "FUO", "fever of unknown origin")),
    ],
)  # fmt: skip
def test_a_panel_by_its_use_goes_by_every_way_to_write_it(key: str, words: tuple[str, ...]) -> None:
    assert {word: means(word) for word in words} == {word: {key} for word in words}


@pytest.mark.parametrize(
    ("words", "choices"),
    [
        (("chest pain", "chest pain bloods", "ACS"), {"chest-pain-troponin-t", "chest-pain-troponin-i"}),
        (("cardiac enzymes", "cardiac profile"), {"cardiac-markers-troponin-t", "cardiac-markers-troponin-i"}),
        (("autoimmune", "autoimmune screen", "autoimmune profile"),
         {"autoantibody-screen", "autoimmune-panel", "connective-tissue-screen"}),
        (("hepatitis", "viral hepatitis"), {"hepatitis-screen", "acute-hepatitis-panel", "hepatitis-b-panel"}),
        (("hepatitis E", "HEV", "hep E test"), {"hepatitis-e-igm", "hepatitis-e-igg", "hepatitis-e-rna"}),
        (("newborn metabolic screen",), {"newborn-screening", "metabolic-crisis"}),
        (("tox screen", "toxicology screening"), {"overdose-panel", "poisoning-unknown", "toxic-alcohols"}),
        (("T4", "T4 level", "thyroxine"), {"free-thyroxine", "total-thyroxine"}),
        (("dexamethasone suppression test", "DST"), {"cortisol-after-dexamethasone", "dexamethasone-2-days"}),
        (("lupus screen", "lupus screening"), {"connective-tissue-screen", "lupus-anticoagulant"}),
    ],
)  # fmt: skip
def test_a_use_that_means_several_is_asked_with_all_of_them(words: tuple[str, ...], choices: set[str]) -> None:
    assert {word: means(word) for word in words} == dict.fromkeys(words, choices)


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("hemoglobin", ("haemoglobin", "hemoglobin", "Hgb", "Haemoglobin level")),
        ("estradiol", ("oestradiol", "estradiol", "oestrogen", "E2 level")),
        ("ceruloplasmin", ("caeruloplasmin", "ceruloplasmin level", "serum caeruloplasmin")),
        ("phenobarbital", ("phenobarbitone", "phenobarbital level", "phenobarbitone levels")),
        ("lidocaine", ("lignocaine", "lidocaine level")),
        ("cyclosporine", ("ciclosporin", "cyclosporin A", "cyclosporine level")),
        ("celiac-panel", ("coeliac", "celiac", "coeliac serology", "celiac screening")),
        ("white-cell-count", ("WBC", "WCC", "leucocytes", "leukocytes", "white cells")),
        ("reticulocyte-count", ("retics", "reticulocyte", "reticulocytes")),
        ("antistreptolysin-o", ("ASO titre", "ASO titer", "ASOT", "anti-streptolysin O titres")),
        ("nuclear-antibody", ("ANA", "ANF", "ANA titre", "antinuclear antibodies", "anti-nuclear Ab")),
        ("aspartate-aminotransferase", ("SGOT", "AST", "aspartate transaminase")),
        ("activated-partial-thromboplastin-time", ("KCCT", "PTTK", "aPTT", "activated PTT")),
        ("treponemal-antibody", ("TPHA", "TPPA", "syphilis serology", "Treponema pallidum antibodies")),
        ("heterophile-antibody", ("Paul-Bunnell", "monospot", "mono spot test")),
        ("digoxin", ("digoxin", "digoxin level", "digoxin levels", "serum digoxin")),
    ],
)  # fmt: skip
def test_spellings_plurals_levels_titres_and_old_names_are_one_test(key: str, words: tuple[str, ...]) -> None:
    assert {word: means(word) for word in words} == {word: {key} for word in words}


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("oglobin A1", "hemoglobin-a1c"), ("mullerian", "anti-mullerian-hormone"),
        ("suppression", "saline-suppression-lying"), ("hepatits C", "hepatitis-c-antibody"),
        ("cerulopalsmin", "ceruloplasmin"), ("propylene glycl", "propylene-glycol"),
    ],
)  # fmt: skip
def test_typing_finds_a_name_by_its_middle_and_with_one_letter_wrong(text: str, key: str) -> None:
    assert key in [hit.key for hit in DIRECTORY.search(text)]


def test_propylene_glycol_is_never_ethylene_glycol() -> None:
    assert means("propylene glycol") == {"propylene-glycol"}
    assert means("glycol") == {"ethylene-glycol", "propylene-glycol"}


@pytest.mark.parametrize(
    "word",
    [
        "antibody", "antibody screening test kit", "virus", "vitamin", "blood", "serum", "screen", "panel", "routine",
        "stat", "adult", "baby", "hormone", "type", "smear test", "culture", "level of consciousness",
        "test", "TEST", "PCR", "glucose antibody", "vitamin B", "group B strep", "LH/FSH", "Na/K", "T3 uptake",
    ],
)  # fmt: skip
def test_a_word_that_names_no_test_stays_unknown_however_words_are_taken_for_one_another(word: str) -> None:
    with pytest.raises(UnknownTest):
        DIRECTORY.resolve(word)


@pytest.mark.parametrize(
    "word", ["urine osmolality", "CSF glucose", "salivary cortisol", "sweat chloride", "HCG urine", "synovial fluid"]
)
def test_a_known_name_beside_a_word_for_another_specimen_is_not_blood(word: str) -> None:
    with pytest.raises((NotBloodTest, UnknownTest)):
        DIRECTORY.resolve(word)


@pytest.mark.parametrize(("word", "key"), [("anti-D", "anti-d-quantitation"), ("cryo", "cryoglobulin")])
def test_a_word_that_is_also_a_blood_product_is_asked(word: str, key: str) -> None:
    with pytest.raises(AmbiguousTest, match="blood product"):
        DIRECTORY.resolve(word)
    assert means(word) == {key}

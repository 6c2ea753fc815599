"""What is shipped holds together: every mark has its source, and no number contradicts another."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from decimal import Decimal
from itertools import pairwise
from typing import Any, get_args

import msgspec
import pytest

from cubital import facts
from cubital.facts.causes import causes, illnesses, standing
from cubital.facts.hemolysis import hemolysis_facts
from cubital.facts.keeping import biases, checks, drifts, house_rules, index_limits, keeping_claims, timings
from cubital.facts.labels import label_content, label_stock
from cubital.facts.population import population
from cubital.facts.reading import DATA, read_table
from cubital.facts.screens import screens
from cubital.facts.tubes import AdditiveKey

SERUM_FAMILIES = ("none", "clot-activator", "thrombin")


def records() -> Iterator[tuple[str, Mapping[str, Any]]]:
    """Every test and every panel."""
    yield from facts.tests_table().items()
    yield from facts.panels_table().items()


def test_every_additive_of_the_contract_is_there_and_no_other() -> None:
    assert set(facts.additives()) == set(get_args(AdditiveKey))


def test_every_tube_kind_holds_a_known_additive_and_a_liquid_one_says_how_much() -> None:
    for kind, entry in facts.tube_table().items():
        additive = facts.additives()[entry["additive"]]
        for size in entry["sizes"]:
            if additive.state != "liquid":
                assert "liquid_additive_ul" not in size, kind
            elif additive.family not in ("culture", "edta"):
                assert size["liquid_additive_ul"] > 0, kind


@pytest.mark.parametrize(("kind", "parts"), [("citrate", 9), ("citrate-sedimentation", 4)])
def test_a_citrate_tube_holds_one_part_of_citrate_to_its_parts_of_blood(kind: str, parts: int) -> None:
    entry = facts.tube_table()[kind]
    assert facts.additives()[entry["additive"]].blood_parts == parts
    for size in entry["sizes"]:
        assert size["draw_ml"] * 1000 == parts * size["liquid_additive_ul"]


def test_every_kind_can_be_filled_from_an_access_and_drops_of_the_skin_fill_the_small_ones_alone() -> None:
    for kind, entry in facts.tube_table().items():
        ways = entry["accesses"]
        assert ways
        assert set(ways) <= set(facts.accesses())
        is_small = max(s["draw_ml"] for s in entry["sizes"]) < 1 and kind != "gas-syringe-part"
        assert ("skin-puncture" in ways) == is_small, kind


# Salvagno 2019 (abstract), Bowron 2024 (second-hand), a children's hospital's procedure (read): see accesses.toml.
def test_the_open_micro_tubes_are_filled_by_syringe_and_line_and_by_no_needle() -> None:
    for kind in ("edta-micro", "heparin-micro", "serum-micro", "fluoride-micro"):
        assert facts.tube_table()[kind]["accesses"] == ["syringe", "skin-puncture", "line"]
    assert facts.tube_table()["gas-capillary"]["accesses"] == ["skin-puncture"]


# A newborn unit's guideline (read): 0.3 mL in the syringe; a newborn handbook (read): 0.2 mL.
def test_a_gas_syringe_filled_in_part_serves_what_the_full_one_serves() -> None:
    part = facts.tube_table()["gas-syringe-part"]
    assert [size["draw_ml"] for size in part["sizes"]] == [Decimal("0.2"), Decimal("0.3")]
    for key, test in facts.tests_table().items():
        kinds = [kind for accept in test.get("accepts", ()) for kind in accept["tubes"]]
        assert ("gas-syringe" in kinds) == ("gas-syringe-part" in kinds), key
        if "gas-syringe" in kinds:
            assert kinds.index("gas-syringe") + 1 == kinds.index("gas-syringe-part"), key


def test_no_two_kinds_share_a_mark_even_where_they_share_a_stopper() -> None:
    kinds = facts.tube_table().values()
    yellow = [k for k in kinds if k.get("stopper") == "yellow"]
    assert {k["additive"] for k in yellow} == {"sps", "acd-a", "acd-b"}
    assert len({k["mark"] for k in kinds}) == len(kinds)
    assert len({k["name"] for k in kinds}) == len(kinds)


def test_every_additive_has_its_inversions_and_every_serum_kind_its_clotting_time() -> None:
    for key, additive in facts.additives().items():
        for gel in (False, True):
            count = facts.inversions(key, gel)
            assert count is not None
            assert count.low <= count.chosen <= count.high
            assert len(count.marks) == len(count.rivals)
            assert (facts.clotting(key, gel) is not None) == (additive.family in SERUM_FAMILIES)


# Common practice, no source: five to ten inversions for most additive tubes, five at least with activator.
def test_an_additive_tube_is_inverted_five_to_ten_times() -> None:
    for key in facts.additives():
        count = facts.inversions(key, False)
        assert count is not None
        assert (5 <= count.chosen <= 10) == (key != "none")
    assert facts.inversions("unheard-of", False) is None


def test_every_family_that_is_spun_has_a_setting() -> None:
    spun = {family for spin in facts.spins() for family in spin.families}
    assert spun >= set(SERUM_FAMILIES) | {"heparin", "edta", "fluoride", "citrate", "iodoacetate"}


# IUPAC conventional atomic weights, from memory: the molar masses are computed from them, not read.
WEIGHTS = {
    "C": "12.011", "H": "1.008", "N": "14.007", "O": "15.999", "Na": "22.990", "K": "39.098", "F": "18.998",
    "I": "126.904", "Li": "6.94",
}  # fmt: skip
FORMULAS = {
    "trisodium citrate dihydrate": "C6 H9 Na3 O9",
    "dipotassium EDTA dihydrate": "C10 H18 K2 N2 O10",
    "dipotassium EDTA anhydrous": "C10 H14 K2 N2 O8",
    "tripotassium EDTA dihydrate": "C10 H17 K3 N2 O10",
    "EDTA free acid": "C10 H16 N2 O8",
    "citric acid anhydrous": "C6 H8 O7",
    "citric acid monohydrate": "C6 H10 O8",
    "dextrose monohydrate": "C6 H14 O7",
    "sodium fluoride": "Na1 F1",
    "potassium oxalate monohydrate": "C2 H2 K2 O5",
    "lithium iodoacetate": "C2 H2 I1 Li1 O2",
    "sodium iodoacetate": "C2 H2 I1 Na1 O2",
}


def test_every_molar_mass_is_that_of_its_formula_with_its_water() -> None:
    stated = {
        (c.salt, c.molar_mass_g_per_mol)
        for additive in facts.additives().values()
        for c in additive.concentrations
        if c.molar_mass_g_per_mol is not None
    }
    assert {salt for salt, _ in stated} == set(FORMULAS)
    for salt, mass in stated:
        atoms = re.findall(r"([A-Z][a-z]?)([0-9]+)", FORMULAS[salt])
        assert abs(sum(Decimal(WEIGHTS[e]) * int(n) for e, n in atoms) - mass) <= Decimal("0.03"), salt


# ICSH 1993 (abstract read): 1.5-2.2 mg/mL is 3.7-5.4 umol/mL, true of the dihydrate's mass only.
def test_icsh_amounts_agree_with_the_dihydrate_mass_they_are_stated_for() -> None:
    icsh = next(c for c in facts.additives()["k2-edta"].concentrations if c.mark.source == "icsh-1993")
    assert icsh.mg_per_ml is not None
    assert icsh.molar_mass_g_per_mol is not None
    umol_per_ml = [round(1000 * mg / icsh.molar_mass_g_per_mol, 1) for mg in icsh.mg_per_ml]
    assert umol_per_ml == [Decimal("3.7"), Decimal("5.4")]


# Reneke 1998 (abstract read): 3.2 % is 109 mmol/L and 3.8 % is 129, as the dihydrate.
@pytest.mark.parametrize(("grams_per_l", "mmol_per_l"), [(32, 109), (38, 129)])
def test_citrate_percentages_are_those_of_the_dihydrate(grams_per_l: int, mmol_per_l: int) -> None:
    found = facts.additives()["citrate-9-1"].concentrations
    stated = next(c for c in found if c.mmol_per_l == (Decimal(mmol_per_l), Decimal(mmol_per_l)))
    assert stated.molar_mass_g_per_mol is not None
    assert round(1000 * grams_per_l / stated.molar_mass_g_per_mol) == mmol_per_l


def test_blood_volume_bands_join_without_gap_or_overlap() -> None:
    term = [band for band in facts.blood_volumes().bands if not band.preterm]
    assert term[0].age_min_d == 0
    assert term[-1].age_max_d is None
    assert all(a.age_max_d == b.age_min_d for a, b in pairwise(term))
    assert all(band.marks for band in term)


def test_planning_hematocrits_cover_every_age_for_each_sex() -> None:
    for sex in ("female", "male", None):
        of_sex = [h for h in facts.hematocrits() if h.sex in (None, sex)]
        bands = sorted(of_sex, key=lambda h: (h.age_min_d, h.sex is None))
        first_of_age = {h.age_min_d: h for h in reversed(bands)}
        ordered = [first_of_age[age] for age in sorted(first_of_age)]
        assert ordered[0].age_min_d == 0
        assert ordered[-1].age_max_d is None
        assert all(a.age_max_d == b.age_min_d for a, b in pairwise(ordered))


# Nordin 2004 (abstract read): women 0.348-0.459, men 0.395-0.500.
def test_adult_planning_hematocrit_is_never_under_the_upper_reference_limit() -> None:
    adult = {h.sex: h.fraction for h in facts.hematocrits() if h.age_max_d is None}
    assert adult["female"] >= Decimal("0.459")
    assert adult["male"] >= Decimal("0.500")
    assert adult[None] == max(adult.values())


@pytest.mark.parametrize(
    "key",
    [
        "howie-2011-max", "howie-2011-low", "ec-2008", "cfr-46-110", "feinstein-healthy", "feinstein-ill",
        "michigan-3-month", "hospital-2-5-percent",
    ],
)  # fmt: skip
def test_the_limits_a_site_may_choose_are_there(key: str) -> None:
    assert facts.sampling_limits()[key].caps


# The older review-board table (read): 20 mL at 5 kg is 20 % of the volume at 1 kg.
def test_a_table_by_weight_never_stands_without_a_percentage() -> None:
    for limit in facts.sampling_limits().values():
        if any(cap.by_weight for cap in limit.caps):
            assert any(cap.percent_of_tbv is not None for cap in limit.caps), limit.key


def test_cultures_name_their_tables_and_rules() -> None:
    found = facts.cultures()
    assert found.table("idsa-asm-2018").rows[-1].weight_max_g is None
    assert found.rule("aerobic-only").at_or_below_ul == 10_000
    with pytest.raises(KeyError):
        found.rule("unheard-of")


# A children's hospital's table (read); under 1 kg half a millilitre (Schelonka 1996, second-hand).
@pytest.mark.parametrize(
    ("weight_g", "least_ul", "useful_ul"),
    [
        (480, 500, 1000), (999, 500, 1000), (1000, 500, 1000), (2999, 500, 1000), (3000, 1000, 3000),
        (9999, 1000, 3000), (10_000, 3000, 5000), (16_000, 3000, 5000), (24_999, 3000, 5000),
        (25_000, 5000, 10_000), (34_999, 5000, 10_000),
        (35_000, 10_000, 20_000), (90_000, 10_000, 20_000), (None, 10_000, 20_000),
    ],
)  # fmt: skip
def test_a_culture_steps_down_to_the_published_least_of_its_weight(
    weight_g: int | None, least_ul: int, useful_ul: int
) -> None:
    known = facts.cultures()
    assert (known.least_ul(weight_g), known.useful_ul(weight_g)) == (least_ul, useful_ul)
    assert known.step(weight_g).marks[0].basis == "published"


def test_a_culture_stepped_down_is_never_more_than_the_table_of_weights_asks() -> None:
    known = facts.cultures()
    for weight_g in range(400, 100_000, 100):
        rows = known.table("idsa-asm-2018").rows
        row = next(r for r in rows if r.weight_max_g is None or weight_g <= r.weight_max_g)
        assert known.useful_ul(weight_g) <= row.total_low_ul, weight_g


# Isaacman 1996, Sarkar 2006, PIDJ 2015, Dwivedi 2009, Shulman 1993 (abstracts); Cheng 2019 (second-hand).
@pytest.mark.parametrize(
    ("rule", "sources"),
    [
        ("culture-before-antibiotic", {"cheng-2019"}),
        ("volume-before-sets", {"isaacman-1996"}),
        ("newborn-one-millilitre", {"sarkar-2006", "woodford-2021"}),
        ("newborn-second-bottle-rival", {"pidj-2015", "gottschalk-2024", "messbarger-2018"}),
        ("line-keep-first-blood", {"dwivedi-2009", "shulman-1993"}),
        ("line-equal-volumes", {"ucsf-manual", "crbsi-pooled-2022"}),
    ],
)
def test_a_rule_of_cultures_names_its_sources_and_its_rivals(rule: str, sources: set[str]) -> None:
    assert sources <= {mark.source for mark in facts.cultures().rule(rule).marks}


def test_site_defaults_name_what_is_shipped_and_each_has_its_mark() -> None:
    planning, bench = facts.site_table()["planning"], facts.site_table()["bench"]
    assert planning["order_of_draw"] in facts.order_policies()
    assert planning["blood_limit"] in facts.sampling_limits()
    assert planning["recovery"] == Decimal("0.9")
    assert set(facts.site_marks()) == {*planning, *bench}
    assert bench == {"hemolysis_band": False}


def test_the_edition_is_a_date() -> None:
    assert len(facts.edition()) == len("2025-11-25")


def test_the_line_is_asked_for_its_dead_space() -> None:
    assert facts.accesses()["line"].dead_volume_ul is None
    multiples = {d.dead_space_multiple for d in facts.accesses()["line"].discards}
    assert multiples == {0, 2, 6}


# A course page (read): the waste tube need not be filled; about 0.5 mL of air (fritsma, read).
def test_the_discard_of_a_winged_set_holds_its_dead_volume_and_no_more_is_needed() -> None:
    winged = facts.accesses()["winged-set"]
    assert [d.part_filled_ul for d in winged.discards if d.needed] == [winged.dead_volume_ul] * 3


# AVATAR 2018 (read), NIH grant report (abstract), Sawaengrat (abstract): see accesses.toml.
def test_blood_of_a_line_goes_back_closed_or_by_push_pull_and_never_once_the_syringe_was_taken_off() -> None:
    line = facts.accesses()["line"]
    assert line.may_return("closed")
    assert line.may_return("push-pull")
    assert not line.may_return("set-aside")
    assert not facts.accesses()["winged-set"].may_return("closed")
    for each in line.returns:
        assert set(each.not_for) <= set(facts.tests_table())
        if each.how == "push-pull":
            assert "activated-partial-thromboplastin-time" in each.not_for


# Davies 2000 (abstract): 1.6 mL are 2.7 times the dead space of 0.6 mL. Shulman 1993, Dwivedi 2009 (abstracts).
def test_an_umbilical_line_gives_its_draw_up_back_and_a_cultured_line_keeps_its_first_blood() -> None:
    line = facts.accesses()["line"]
    umbilical = next(each for each in line.lines if each.name.startswith("umbilical"))
    assert umbilical.dead_space_ul == 600
    assert all(d.returned for d in umbilical.discards)
    assert round(Decimal(umbilical.discards[0].ul or 0) / umbilical.dead_space_ul, 1) == Decimal("2.7")
    first = [(each.for_whom, each.ul) for each in line.culture_discards]
    assert first == [("any", 0), ("infant", 300), ("child", 1000)]


def test_the_standing_cautions_are_there() -> None:
    assert {"support-only", "two-identifiers", "label-after", "tourniquet"} <= set(facts.safety())
    assert facts.safety()["tourniquet"].limit_s == 60
    assert facts.safety()["high-hematocrit"].limit_fraction == Decimal("0.55")
    assert facts.safety()["large-draw"].limit_percent == 1


# Side by side: 90 % (Magnette 2016, read; Reneke 1998, abstract), 60 and 70 % (Adcock 1998, abstract).
def test_the_fill_a_citrate_tube_takes_is_the_strictest_of_the_sources() -> None:
    least = facts.fills()[0].fill_min_percent
    assert least == max(fill.fill_min_percent for fill in facts.fills())
    assert facts.tube_table()["citrate"]["fill_min_percent"] == least


def test_every_additive_has_a_dose_and_every_dose_an_additive() -> None:
    assert set(facts.contaminants().dose) == set(facts.additives())


def test_every_analyte_is_a_test_of_the_directory_and_has_one_scheme_once() -> None:
    for key, analyte in facts.analytes().items():
        assert set(analyte.tests) <= set(facts.tests_table()), key
        assert len(set(analyte.schemes)) == len(analyte.schemes), key


def test_a_dose_lies_in_the_range_that_the_additive_lists() -> None:
    edta = facts.contaminants().dose["k2-edta"].amounts[0]
    listed = facts.additives()["k2-edta"].concentrations[0]
    assert edta.mg_per_ml is not None
    assert listed.mg_per_ml == (edta.mg_per_ml.low, edta.mg_per_ml.high)
    assert edta.weighed_as is not None
    assert facts.salts()["k2-edta"].weighed_as[edta.weighed_as].molar_mass_g_per_mol == listed.molar_mass_g_per_mol


def test_no_claim_is_made_twice_of_one_additive_and_one_family() -> None:
    claims = [(a, f, c.what) for c in facts.interference().claim for a in c.from_ for f in c.to]
    assert len(set(claims)) == len(claims)


def test_every_source_is_used() -> None:
    used = {mark.source for mark in marks_of(everything())} | set(claimed_sources())
    named_for_others = {"loinc"}  # the codes, in claims
    assert used <= set(facts.sources())
    assert set(facts.sources()) - used <= named_for_others


def everything() -> list[object]:
    """Every family of records that carries marks."""
    return [
        facts.additives(), facts.spins(), facts.fills(), facts.order_policies(), facts.stability(),
        label_stock(), label_content(), facts.accesses(), facts.handling_terms(), facts.safety(), facts.blood_volumes(),
        facts.sampling_limits(), facts.cultures(), facts.hematocrits(), facts.site_marks(),
        facts.salts(), facts.contaminants(), facts.analytes(), facts.interference(),
        facts.blood_loss(), facts.loss_formulas(), facts.elsewhere(), facts.ranks(), facts.whole_blood(), facts.gels(),
        facts.name_words(), facts.stopper_words(), facts.paraphrases(),
        population(), causes(), standing(), illnesses(), screens(),
        facts.moment_facts(), keeping_claims(), house_rules(), drifts(), biases(), timings(), index_limits(), checks(),
        hemolysis_facts(), facts.respin(),
        *(facts.inversions(a, False) for a in facts.additives()),
        *(facts.clotting(a, g) for a in facts.additives() for g in (False, True)),
    ]  # fmt: skip


def marks_of(value: object) -> Iterator[facts.Mark]:
    """Every mark at or below a value."""
    if isinstance(value, facts.Mark):
        yield value
    elif isinstance(value, msgspec.Struct):
        for name in value.__struct_fields__:
            yield from marks_of(getattr(value, name))
    elif isinstance(value, Mapping):
        for item in value.values():
            yield from marks_of(item)
    elif isinstance(value, list | tuple):
        for item in value:
            yield from marks_of(item)


def claimed_sources() -> Iterator[str]:
    """The source of every claim in the tubes, the directory and the panels."""
    for entry in facts.tube_table().values():
        yield entry["from"]["source"]
    for _, entry in records():
        for claim in entry["from"].values():
            if isinstance(claim, list):
                yield claim[1]
    for analyte in population().analytes.values():
        for _, source in analyte.from_.values():
            yield source


def test_a_mark_says_what_it_rests_on_in_a_few_words() -> None:
    labels = {mark.label() for mark in marks_of(everything())}
    assert "common practice, no source" in labels
    assert "published: icsh-1993 (abstract read)" in labels
    assert "standard: clsi-gp41 (read second-hand)" in labels
    assert "from memory" in labels
    assert "from memory of who-2010" in labels
    assert "computed" in labels
    assert facts.Mark(basis="computed", source="usp-26").label() == "computed from usp-26"


def test_a_citation_is_one_line_and_says_how_the_source_was_seen() -> None:
    for source in facts.sources().values():
        assert "\n" not in source.citation()
    assert facts.sources()["eflm-2018"].citation().endswith("(abstract read)")
    assert facts.sources()["common-practice"].citation() == "Common practice, no source"
    assert "None" not in facts.sources()["clsi-m47-memory"].citation()


@pytest.mark.parametrize("file", sorted(path.name for path in DATA.glob("*.toml")))
def test_a_shipped_file_says_the_same_to_the_strict_reader_of_the_standard_library(file: str) -> None:
    text = (DATA / file).read_text(encoding="utf-8")
    assert read_table(file) == tomllib.loads(text, parse_float=Decimal)

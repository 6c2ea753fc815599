"""A site's folder: what it may say, what it may leave out, and every fault of it in one run."""

from __future__ import annotations

import datetime
import re
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest

from cubital.errors import AmbiguousTest, SiteError
from cubital.exchange.demo_folder import demo_folder
from cubital.exchange.site_folder import read_site, read_site_with_findings
from cubital.facts import Cap, WeightCap
from cubital.model import Accept, Placing, Site
from cubital.planning.directory import Directory

BAD = Path(__file__).parents[2] / "data" / "sites"

TUBES = """
[citrate]
additive = "citrate-9-1"
sizes = [{draw_ml = 2.7, liquid_additive_ul = 300, in_stock = 40, expires = 2027-03-31}]
dead_volume_ul = {whole-blood = 100, plasma = 200}
stopper = "light blue"
[red]
additive = "clot-activator"
gel = true
sizes = [{draw_ml = 5}, {draw_ml = 3.5}]
"""
TESTS = """
[K]
name = "Potassium"
also = ["kalium"]
codes = {loinc = "2823-3"}
bench = "chemistry"
accepts = [{matrix = "serum", tubes = ["red"], volume_ul = 100, minimum_ul = 30},
           {matrix = "plasma", tubes = ["citrate"], volume_ul = 50}]
own_tube = true
ice = true
warm = false
timed = {rule = "trough"}
"""


def write(folder: Path, **files: str) -> Path:
    for name, text in files.items():
        (folder / f"{name}.toml").write_text(text, encoding="utf-8")
    return folder


def read(folder: Path, **files: str) -> Site:
    return read_site(write(folder, **files))


def test_the_shipped_site_has_no_finding_and_at_least_150_tests() -> None:
    site, findings = read_site_with_findings()
    assert findings == ()
    assert site is not None
    assert len(site.tests) >= 150
    assert len(site.panels) >= 20
    assert site.planning.order_of_draw == "common-practice"
    assert site.planning.recovery == Fraction(9, 10)


def test_every_name_of_the_shipped_site_resolves_to_its_own_entry() -> None:
    site = read_site()
    directory = Directory(site)
    for test in site.tests.values():
        for name in (test.key, test.name, *test.also):
            assert directory.resolve(name) == ("test", test.key)
        for system, code in test.codes.items():
            assert directory.resolve(code, system=system) == ("test", test.key)
    for panel in site.panels.values():
        for name in (panel.key, panel.name, *panel.also):
            assert directory.resolve(name) == ("panel", panel.key)


def test_the_demo_site_is_read_and_says_that_it_is_invented() -> None:
    site, findings = read_site_with_findings(demo_folder())
    assert findings == ()
    assert site is not None
    assert "(invented)" in site.name
    assert site.planning.order_of_draw == "clsi-gp41"
    assert any(
        tube.expires is not None and tube.expires < datetime.date(2026, 1, 1) for tube in site.kinds["citrate"].sizes
    )
    assert Directory(site).resolve("K01", system="urn:example:quillmere:tests") == ("test", "potassium")


def test_stock_is_read_in_whole_microlitres_in_the_order_of_the_file(tmp_path: Path) -> None:
    site = read(tmp_path, tubes=TUBES)
    assert list(site.kinds) == ["citrate", "red"]
    (tube,) = site.kinds["citrate"].sizes
    assert (tube.draw_ul, tube.liquid_additive_ul, tube.in_stock) == (2700, 300, 40)
    assert tube.expires == datetime.date(2027, 3, 31)
    assert site.kinds["citrate"].dead_volume_ul == {"whole-blood": 100, "plasma": 200}
    assert site.kinds["citrate"].stopper == "light blue"
    assert [t.draw_ul for t in site.kinds["red"].sizes] == [5000, 3500]
    assert site.kinds["red"].gel is True
    assert site.kinds["red"].sizes[0].in_stock is None


def test_a_tests_file_replaces_the_directory_and_its_absent_keys_take_the_default(tmp_path: Path) -> None:
    site = read(tmp_path, tests=TESTS)
    (test,) = site.tests.values()
    assert test.accepts == (
        Accept(matrix="serum", tubes=("red",), volume_ul=100, minimum_ul=30),
        Accept(matrix="plasma", tubes=("citrate",), volume_ul=50, minimum_ul=50),
    )
    assert (test.own_tube, test.handling, test.timed) == (True, ("ice",), "trough")
    assert site.panels == {}
    assert len(site.kinds) > 20


def test_a_panel_that_the_site_does_not_write_stays_only_where_all_its_tests_are(tmp_path: Path) -> None:
    entry = '[{key}]\nbench = "b"\naccepts = [{{matrix = "serum", tubes = ["serum"], volume_ul = 10}}]\n'
    keys = ("sodium", "potassium", "chloride", "bicarbonate")
    site = read(tmp_path, tests="".join(entry.format(key=key) for key in keys))
    assert "electrolytes-panel" in site.panels
    assert "basic-metabolic-panel" not in site.panels


def test_a_name_that_the_site_gives_a_test_goes_before_the_shipped_panel_of_that_name(tmp_path: Path) -> None:
    entry = '[{key}]\nalso = ["{also}"]\nbench = "b"\n'
    entry += 'accepts = [{{matrix = "serum", tubes = ["serum"], volume_ul = 10}}]\n'
    keys = {"sodium": "lytes", "potassium": "K", "chloride": "Cl", "bicarbonate": "CO2"}
    site = read(tmp_path, tests="".join(entry.format(key=k, also=a) for k, a in keys.items()))
    assert Directory(site).resolve("lytes") == ("test", "sodium")
    assert Directory(site).resolve("electrolytes") == ("panel", "electrolytes-panel")


def test_an_included_directory_is_added_to_and_an_entry_lies_over_the_shipped_one(tmp_path: Path) -> None:
    tests = 'include = "shipped"\n[potassium]\nbench = "emergency"\n' + TESTS.replace("[K]", "[house-k]").replace(
        '"kalium"', '"house-kalium"'
    ).replace("Potassium", "House potassium").replace("2823-3", "2823-3x")
    site = read(tmp_path, tests=tests)
    shipped = read_site()
    assert set(site.tests) == {*shipped.tests, "house-k"}
    potassium = site.tests["potassium"]
    assert potassium.bench == "emergency"
    assert potassium.accepts == shipped.tests["potassium"].accepts
    assert potassium.handling == shipped.tests["potassium"].handling
    assert "sodium" in site.tests
    assert site.panels == shipped.panels


def test_an_included_stock_is_added_to(tmp_path: Path) -> None:
    site = read(tmp_path, tubes='include = "shipped"\n[house]\nadditive = "none"\nsizes = [{draw_ml = 2}]\n')
    assert set(site.kinds) == {*read_site().kinds, "house"}
    marks = [kind.mark for kind in site.kinds.values()]
    assert len(set(marks)) == len(marks)


def test_a_panel_lies_over_the_shipped_one_and_a_dropped_one_is_noted(tmp_path: Path) -> None:
    panels = 'include = "shipped"\n[lipid-panel]\ntests = ["total-cholesterol"]\n[mine]\ntests = ["sodium"]\n'
    folder = write(tmp_path, panels=panels)
    site = read_site(folder)
    assert site.panels["lipid-panel"].tests == ("total-cholesterol",)
    assert "LIPID" in site.panels["lipid-panel"].also
    assert site.panels["mine"].tests == ("sodium",)
    only = '[sodium]\nbench = "b"\naccepts = [{matrix = "serum", tubes = ["serum"], volume_ul = 10}]\n'
    write(tmp_path, tests=only, panels='include = "shipped"\n')
    replaced, findings = read_site_with_findings(tmp_path)
    assert replaced is not None
    assert replaced.panels == {}
    assert findings
    assert {finding.level for finding in findings} == {"note"}


def test_a_kind_takes_over_what_it_leaves_out_from_the_shipped_kind_of_its_key(tmp_path: Path) -> None:
    site = read(
        tmp_path,
        tubes='[trace-edta]\nadditive = "k2-edta"\nsizes = [{draw_ml = 6}]\n'
        '[edta]\nadditive = "k2-edta"\nsizes = [{draw_ml = 0.5}]\ndead_volume_ul = {whole-blood = 7}\n'
        '[serum]\nadditive = "none"\nsizes = [{draw_ml = 6}]\n',
    )
    shipped = read_site().kinds
    assert site.kinds["trace-edta"].use == "trace-element"
    assert site.kinds["trace-edta"].dead_volume_ul == shipped["trace-edta"].dead_volume_ul
    assert site.kinds["trace-edta"].accesses == shipped["trace-edta"].accesses
    assert site.kinds["edta"].dead_volume_ul == {"whole-blood": 7}
    assert site.kinds["edta"].accesses is None
    assert site.kinds["serum"].dead_volume_ul == {}
    assert site.kinds["serum"].basis == "site"


def test_a_blood_limit_of_the_site_is_read_as_a_shipped_one_and_may_be_chosen(tmp_path: Path) -> None:
    site = read(
        tmp_path,
        site="""
        [planning]
        blood_limit = "nicu"
        [limits.nicu]
        name = "newborn unit"
        for_whom = "newborns of the unit"
        weight_min_kg = 0.4
        caps = [
            {period_h = 24, ml_per_kg = 2.5, ml = 10, age_max_d = 28},
            {period_weeks = 4, percent_of_tbv = 7.5, age_min_d = 28},
            {period_h = 24, by_weight = [{weight_max_kg = 1.5, ml = 3}, {ml = 5}]},
        ]
        [limits.heart]
        for_whom = "children of the study"
        program = "Heart study"
        caps = [{period_h = 24, ml = 4}]
        """,
    )
    nicu, heart = site.limits["nicu"], site.limits["heart"]
    assert site.planning.blood_limit == "nicu"
    assert (nicu.name, nicu.for_whom) == ("newborn unit", "newborns of the unit")
    assert (nicu.weight_min_g, nicu.marks) == (400, ())
    assert nicu.caps == (
        Cap(period_h=24, ul_per_kg=2500, cap_ul=10_000, age_max_d=28),
        Cap(period_h=672, percent_of_tbv=Decimal("7.5"), age_min_d=28),
        Cap(period_h=24, by_weight=(WeightCap(cap_ul=3000, weight_max_g=1500), WeightCap(cap_ul=5000))),
    )
    assert (heart.name, heart.program) == ("heart", "heart-study")


def test_a_percentage_of_ten_is_the_most_that_a_cap_may_say(tmp_path: Path) -> None:
    text = '[limits.a]\nfor_whom = "x"\ncaps = [{{period_h = 24, percent_of_tbv = {percent}}}]\n'
    assert read(tmp_path, site=text.format(percent="10")).limits["a"].caps[0].percent_of_tbv == 10
    with pytest.raises(SiteError, match=r"found 10\.1; expected percent of the blood volume, above 0 and at most 10"):
        read(tmp_path, site=text.format(percent="10.1"))


def test_a_limit_that_is_chosen_and_faulty_is_told_of_once(tmp_path: Path) -> None:
    text = '[planning]\nblood_limit = "a"\n[limits.a]\nfor_whom = "x"\ncaps = []\n'
    with pytest.raises(SiteError) as caught:
        read(tmp_path, site=text)
    assert len(caught.value.findings) == 1
    with pytest.raises(SiteError, match=r'blood_limit: found "b"; expected one of .*, a, none'):
        read(tmp_path, site=text.replace('"a"', '"b"', 1).replace("[]", "[{period_h = 24, ml = 3}]"))


def test_a_limit_that_neither_the_policy_nor_a_program_takes_is_warned_of(tmp_path: Path) -> None:
    text = '[planning]\nblood_limit = "{}"\n[limits.a]\nfor_whom = "x"\n{}caps = [{{period_h = 24, ml = 3}}]\n'
    found = []
    for chosen, program in (("none", ""), ("a", ""), ("none", 'program = "iron"\n')):
        site, findings = read_site_with_findings(write(tmp_path, site=text.format(chosen, program)))
        assert site is not None
        found.append([str(one) for one in findings])
    assert found[1:] == [[], []]
    assert found[0] == [
        "site.toml [limits.a]: found a limit that nothing takes; expected its key as blood_limit under [planning], or "
        'a program; write blood_limit = "a", or take it out'
    ]


def test_a_policy_is_read_and_what_it_leaves_out_is_shipped(tmp_path: Path) -> None:
    site = read(
        tmp_path,
        site="""
        name = "A site (invented)"
        time_zone = "Pacific/Apia"
        [planning]
        order_of_draw = "eflm-2018"
        objective = "least-blood"
        share_benches = [["chemistry", "serology"]]
        hematocrit = 0.45
        blood_limit = "none"
        altitude_m = 1500
        [place]
        lead = {with = "edta", because = "house"}
        acd-a = {before = "edta"}
        [stoppers]
        edta = "violet, ring"
        [names]
        edta = "EDTA of the house"
        potassium = "kalium"
        """,
    )
    planning = site.planning
    assert (planning.order_of_draw, planning.objective) == ("eflm-2018", "least-blood")
    assert planning.share_benches == (("chemistry", "serology"),)
    assert (planning.recovery, planning.hematocrit) == (Fraction(9, 10), Fraction(45, 100))
    assert (planning.blood_limit, planning.altitude_m) == (None, 1500)
    assert planning.placings == (
        Placing(kind="lead", with_kind="edta", because="house"),
        Placing(kind="acd-a", before="edta"),
    )
    assert (site.name, site.time_zone) == ("A site (invented)", "Pacific/Apia")
    assert (site.kinds["edta"].stopper, site.kinds["edta"].name) == ("violet, ring", "EDTA of the house")
    assert site.names["potassium"] == "kalium"


def test_what_is_kept_back_and_the_ways_of_tubes_are_read_to_their_edges(tmp_path: Path) -> None:
    planning = read(
        tmp_path,
        site="""
        [planning]
        objective = "by-patient"
        near_limit_percent = 100
        reserve_percent = 300
        line_discard = "returned"
        whole_blood_tests = ["potassium", "glucose", "potassium"]
        usual_travel_min = 0
        windows = "extended"
        [travel]
        emergency = 0
        "home visit" = 1440
        """,
    ).planning
    assert (planning.objective, planning.near_limit_percent, planning.reserve_percent) == ("by-patient", 100, 300)
    assert (planning.line_discard, planning.windows) == ("returned", "extended")
    assert planning.whole_blood_tests == ("potassium", "glucose")
    assert (planning.usual_travel_min, planning.travel_min) == (0, {"emergency": 0, "home visit": 1440})


def test_a_site_that_names_no_way_knows_none_and_holds_to_the_shipped_policy(tmp_path: Path) -> None:
    planning = read(tmp_path, site="[planning]\naltitude_m = 10\n").planning
    assert (planning.usual_travel_min, planning.travel_min, planning.whole_blood_tests) == (None, {}, ())
    assert (planning.near_limit_percent, planning.line_discard, planning.windows) == (25, "thrown-away", "strict")
    assert (planning.objective, planning.reserve_percent) == ("by-patient", 100)


@pytest.mark.parametrize(
    ("written", "is_said"),
    [('name = "a"\n', False), ("[bench]\nhemolysis_band = true\n", True), ("[bench]\nhemolysis_band = false\n", False)],
)
def test_how_far_hemolysis_raises_a_result_is_said_only_where_the_site_says_so(
    tmp_path: Path, written: str, is_said: bool
) -> None:
    assert read(tmp_path, site=written).bench_policy.hemolysis_band is is_said


@pytest.mark.parametrize(("recovery", "hematocrit"), [("1", "0.05"), ("0.01", "0.85")])
def test_the_edges_of_a_share_are_read(tmp_path: Path, recovery: str, hematocrit: str) -> None:
    site = read(tmp_path, site=f"[planning]\nrecovery = {recovery}\nhematocrit = {hematocrit}\n")
    assert site.planning.recovery == Fraction(recovery)
    assert site.planning.hematocrit == Fraction(hematocrit)


def test_a_draw_of_twenty_millilitres_is_read_and_one_more_microlitre_is_not(tmp_path: Path) -> None:
    text = '[k]\nadditive = "none"\nsizes = [{{draw_ml = {}}}]\n'
    assert read(tmp_path, tubes=text.format("20")).kinds["k"].sizes[0].draw_ul == 20_000
    with pytest.raises(SiteError):
        read(tmp_path, tubes=text.format("20.001"))


def test_an_ambiguous_abbreviation_is_asked_until_the_site_claims_it(tmp_path: Path) -> None:
    assert "troponin-t" in read_site().ambiguous["troponin"]
    site = read(tmp_path, tests='include = "shipped"\n[troponin-t]\nalso = ["troponin", "HSTNT"]\n')
    assert "troponin" not in site.ambiguous
    assert Directory(site).resolve("troponin") == ("test", "troponin-t")


@pytest.mark.parametrize("folder", sorted(BAD.iterdir()), ids=lambda folder: folder.name)
def test_each_bad_site_is_refused_with_every_fault_of_it(folder: Path) -> None:
    texts = [path.read_bytes().decode("utf-8", "replace") for path in folder.iterdir()]
    expected = [line for text in texts for line in re.findall(r"^# expect: (.*)$", text, re.MULTILINE)]
    assert expected
    with pytest.raises(SiteError) as caught:
        read_site(folder)
    said = "\n".join(caught.value.findings)
    missing = [line for line in expected if line not in said]
    assert not missing, said
    site, findings = read_site_with_findings(folder)
    assert site is None
    assert tuple(str(finding) for finding in findings) == caught.value.findings
    assert len(findings) == len([line for line in expected if ".toml" in line]), said


def test_there_are_bad_sites_to_refuse() -> None:
    assert len(list(BAD.iterdir())) >= 15


def test_a_folder_that_is_not_there_or_is_a_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(SiteError, match="no such folder"):
        read_site(tmp_path / "nowhere")
    (tmp_path / "file").write_text("x")
    with pytest.raises(SiteError, match="found a file"):
        read_site(tmp_path / "file")


def test_an_empty_folder_is_the_shipped_site_with_a_warning(tmp_path: Path) -> None:
    site, findings = read_site_with_findings(tmp_path)
    assert site is not None
    assert site.tests == read_site().tests
    assert [finding.level for finding in findings] == ["warning"]


def test_a_huge_file_and_a_nesting_bomb_are_refused(tmp_path: Path) -> None:
    with pytest.raises(SiteError, match="at most 5000000 bytes"):
        read(tmp_path, site="#" * 5_000_001)
    with pytest.raises(SiteError, match="nested too deep"):
        read(tmp_path, site="x = " + "[" * 50_000)


@pytest.mark.parametrize("number", ["9" * 5000, "0x" + "f" * 5000, "1e999999999999999999999"])
def test_an_endless_number_is_refused(tmp_path: Path, number: str) -> None:
    with pytest.raises(SiteError):
        read(tmp_path, tubes=f'[k]\nadditive = "none"\nsizes = [{{draw_ml = {number}}}]\n')


@pytest.mark.parametrize(
    ("written", "remedy"),
    [
        ("edta", 'write "k2-edta", "k3-edta" or "fluoride-edta", whichever it is'),
        ("citrate", 'write "citrate-9-1" or "citrate-4-1", whichever it is'),
        ("acd", 'write "acd-a" or "acd-b", whichever it is'),
        ("k2-edt", 'write "k2-edta"'),
        ("magic", "write one of them"),
    ],
)
def test_an_additive_that_could_be_several_names_them_all(tmp_path: Path, written: str, remedy: str) -> None:
    folder = write(tmp_path, tubes=f'[x]\nadditive = "{written}"\nsizes = [{{draw_ml = 3}}]\n')
    site, findings = read_site_with_findings(folder)
    assert site is None
    assert [(f.entry, f.remedy) for f in findings] == [("[x] additive", remedy)]


TWO_OF_A_NAME = """
[chlorine]
bench = "b"
also = ["CL"]
codes = {loinc = "2075-0"}
accepts = [{matrix = "plasma", tubes = ["edta"], volume_ul = 100}]
[chloride]
bench = "b"
also = ["cl"]
accepts = [{matrix = "plasma", tubes = ["edta"], volume_ul = 100}]
"""


def test_a_name_that_two_tests_claim_warns_and_is_asked_only_where_it_is_ordered(tmp_path: Path) -> None:
    site, findings = read_site_with_findings(write(tmp_path, tests=TWO_OF_A_NAME))
    assert site is not None
    assert [(f.level, f.entry) for f in findings] == [("warning", "[chloride]")]
    assert Directory(site).resolve("chlorine") == ("test", "chlorine")
    with pytest.raises(AmbiguousTest) as caught:
        Directory(site).resolve("Cl")
    assert caught.value.choices == ("chlorine", "chloride")


def test_a_name_that_is_the_key_of_another_test_is_an_error(tmp_path: Path) -> None:
    folder = write(tmp_path, tests=TWO_OF_A_NAME.replace('"cl"', '"chlorine"'))
    site, findings = read_site_with_findings(folder)
    assert site is None
    assert [(f.level, f.entry) for f in findings] == [("error", "[chloride]")]


@pytest.mark.parametrize("code", ["2075-1", "20750", "CL"])
def test_a_loinc_code_that_cannot_be_one_warns(tmp_path: Path, code: str) -> None:
    site, findings = read_site_with_findings(write(tmp_path, tests=TWO_OF_A_NAME.replace("2075-0", code)))
    assert site is not None
    assert ("warning", "[chlorine] codes.loinc") in [(f.level, f.entry) for f in findings]


def test_a_site_without_a_name_goes_by_that_of_its_folder(tmp_path: Path) -> None:
    (tmp_path / "ward 7").mkdir()
    assert read(tmp_path / "ward 7", site="[planning]\naltitude_m = 10\n").name == "ward 7"
    (tmp_path / "ward 7" / "site.toml").unlink()
    assert read(tmp_path / "ward 7", tubes=TUBES).name == "ward 7"


@pytest.mark.parametrize(
    ("slip", "said"),
    [
        ("sizes = [{draw_ml = 3,5}]", "line 3: found \"sizes = [{draw_ml = 3,5}]\""),
        ("sizes = [{draw_ml = 3,5}]", "write a decimal point: 3.5"),
        ("name = “gel”", 'write straight quotes, " instead of “'),
        ("sizes = [{draw_ml = 3.5, expires = 31/03/2027}]", "write the day as year-month-day, such as 2027-03-31"),
        ("[A and B]", 'write the name in brackets with letters, digits and hyphens only, or in quotes: ["A and B"]'),
        ("name = gel", "write words in quotes, yes as true and no as false"),
        ("gel = yes", "write words in quotes, yes as true and no as false"),
        ("[k]", "write each name once; rename one, or take one out"),
        ('name = "a\x00b"', "take that character out"),
        ("name = ", "correct that place"),
        ('name = """', "close the last bracket or quote"),
    ],
)
def test_a_common_slip_in_a_file_is_told_by_its_line_and_what_to_write(tmp_path: Path, slip: str, said: str) -> None:
    with pytest.raises(SiteError) as caught:
        read(tmp_path, tubes=f'[k]\nadditive = "none"\n{slip}\n')
    assert said in str(caught.value)


def test_a_panel_that_names_a_test_twice_is_told(tmp_path: Path) -> None:
    write(tmp_path, tests=TESTS, panels='[set]\ntests = ["K", "K"]\n')
    site, findings = read_site_with_findings(tmp_path)
    assert site is not None
    assert [str(f) for f in findings if f.file == "panels.toml"] == [
        'panels.toml [set] tests: found "K" 2 times; expected each test once; '
        "take one out, or write the test that was meant in its place"
    ]


def test_a_panel_is_not_blamed_for_a_test_that_has_its_own_error(tmp_path: Path) -> None:
    tests = TESTS + '[sodium]\nbench = "chemistry"\naccepts = [{matrix = "serum", tubes = [], volume_ul = 100}]\n'
    write(tmp_path, tests=tests, panels='[set]\ntests = ["K", "sodium"]\n')
    _, findings = read_site_with_findings(tmp_path)
    assert [f.file for f in findings if f.level == "error"] == ["tests.toml"]

"""What a site says that no plan could use, each as one warning."""

from __future__ import annotations

import datetime
from fractions import Fraction
from typing import Any

import msgspec
import pytest

from cubital import facts
from cubital.exchange.demo_folder import demo_folder
from cubital.exchange.site_folder import read_site
from cubital.model import Accept, Finding, Placing, Planning, Site, Test, Tube, TubeKind
from cubital.planning.lint import KeptLint, is_placed, lint
from cubital.planning.sizes import find_expired

ON = datetime.date(2026, 11, 25)
SERUM = TubeKind(
    key="serum",
    name="serum",
    additive="clot-activator",
    sizes=(Tube(draw_ul=4000),),
    dead_volume_ul={"serum": 200},
)


def zinc_of(key: str = "zinc", **fields: Any) -> Test:
    volume_ul = fields.pop("volume_ul", 500)
    accept = Accept(
        matrix=fields.pop("matrix", "serum"),
        tubes=fields.pop("tubes", ("serum",)),
        volume_ul=volume_ul,
        minimum_ul=fields.pop("minimum_ul", min(100, volume_ul)),
    )
    return Test(**{"key": key, "name": key, "bench": "chemistry", "accepts": (accept,), **fields})


def site_of(*tests: Test, kinds: tuple[TubeKind, ...] = (SERUM,), **planning: Any) -> Site:
    return Site(
        name="s",
        kinds={kind.key: kind for kind in kinds},
        tests={test.key: test for test in tests},
        planning=Planning(**planning),
    )


def said(site: Site, on: datetime.date | None = None) -> list[str]:
    return [str(finding) for finding in lint(site, on=on)]


def kind_of(additive: Any, **fields: Any) -> TubeKind:
    return TubeKind(
        **{"key": "k", "name": "k", "additive": additive, "sizes": (Tube(draw_ul=4000),), **fields}
    )


def test_a_sound_site_has_no_finding() -> None:
    assert lint(site_of(zinc_of()), on=ON) == ()


def test_the_shipped_and_the_demo_site_have_no_finding() -> None:
    assert said(read_site(), ON) == []
    assert said(read_site(demo_folder()), ON) == []


def test_a_test_that_no_stocked_tube_can_serve_is_found() -> None:
    (line,) = said(site_of(zinc_of(tubes=("heparin", "edta"))))
    assert line.startswith("tests.toml [zinc] accepts: found heparin, edta, none of them in stock;")


def test_a_kind_that_nobody_knows_is_taken_for_a_slip() -> None:
    (line,) = said(site_of(zinc_of(tubes=("serum", "seurm"))))
    assert line == (
        'tests.toml [zinc] accepts[0].tubes[1]: found "seurm"; '
        "expected a tube kind of this site, or a shipped one; write serum"
    )


@pytest.mark.parametrize(("volume_ul", "count"), [(1600, 0), (1601, 1)])
def test_a_volume_over_what_any_tube_yields_is_found(volume_ul: int, count: int) -> None:
    # 4000 uL x (1 - 0.5) x 0.9 - 200 = 1600 uL
    lines = said(site_of(zinc_of(volume_ul=volume_ul), hematocrit=Fraction(1, 2)))
    assert len(lines) == count
    assert all(
        line.startswith("tests.toml [zinc] accepts[0].volume_ul: found 1601; expected at most 1600")
        for line in lines
    )


def test_a_minimum_over_what_any_tube_yields_is_named_as_the_minimum() -> None:
    (line,) = said(site_of(zinc_of(volume_ul=1800, minimum_ul=1700), hematocrit=Fraction(1, 2)))
    assert line.startswith("tests.toml [zinc] accepts[0].minimum_ul: found 1700;")


def test_without_a_site_hematocrit_the_highest_adult_default_is_taken() -> None:
    adult = max(band.fraction for band in facts.hematocrits() if band.age_max_d is None)
    most_ul = int(4000 * (1 - Fraction(adult)) * Fraction(9, 10)) - 200
    assert said(site_of(zinc_of(volume_ul=most_ul))) == []
    assert len(said(site_of(zinc_of(volume_ul=most_ul + 1)))) == 1


def test_expired_and_empty_stock_is_found_only_where_all_of_it_is() -> None:
    sizes = (Tube(draw_ul=4000, expires=ON - datetime.timedelta(days=1)), Tube(draw_ul=6000, in_stock=0))
    expired = msgspec.structs.replace(SERUM, sizes=sizes)
    lines = said(site_of(kinds=(expired,)), ON)
    assert lines == [
        "tubes.toml [serum] sizes: found no lot that may be used on 2026-11-25; "
        "expected one usable size at least; restock it, or take the kind out"
    ]
    assert said(site_of(kinds=(expired,))) == []
    last_day = msgspec.structs.replace(SERUM, sizes=(Tube(draw_ul=4000, expires=ON),))
    assert said(site_of(kinds=(last_day,)), ON) == []
    empty = msgspec.structs.replace(SERUM, sizes=(Tube(draw_ul=4000, in_stock=0),))
    (line,) = said(site_of(kinds=(empty,)))
    assert "found none in stock" in line


def test_a_test_whose_only_tubes_are_expired_is_unserved() -> None:
    expired = msgspec.structs.replace(SERUM, sizes=(Tube(draw_ul=4000, expires=datetime.date(2024, 3, 31)),))
    lines = said(site_of(zinc_of(), kinds=(expired,)), ON)
    assert len(lines) == 2
    assert "none of them in stock" in lines[1]


def test_a_kind_that_the_policy_does_not_place_is_found_with_what_each_source_says() -> None:
    acd = kind_of("acd-a", key="acd-a")
    (line,) = said(site_of(kinds=(acd,), order_of_draw="clsi-gp41"))
    assert line.startswith("tubes.toml [acd-a]: found a kind that CLSI GP41")
    assert "after EDTA, before fluoride" in line
    assert line.endswith("write acd-a under [place] of site.toml")
    assert said(site_of(kinds=(acd,), order_of_draw="common-practice")) == []


@pytest.mark.parametrize("additive", ["none", "k2-edta", "sodium-heparin"])
def test_no_guideline_places_a_trace_element_tube_and_common_practice_does(additive: str) -> None:
    trace = kind_of(additive, use="trace-element")
    placed = {key: is_placed(trace, policy) for key, policy in facts.order_policies().items()}
    assert placed["common-practice"]
    assert not any(placed[key] for key in ("who-2010", "clsi-gp41", "eflm-2018"))


def test_a_place_of_the_house_counts_when_it_leads_to_a_placed_kind() -> None:
    acd, lead = kind_of("acd-a", key="acd-a"), kind_of("acd-b", key="acd-b")
    placings = (Placing(kind="acd-a", after="acd-b"), Placing(kind="acd-b", before="serum"))
    assert said(site_of(kinds=(acd, lead, SERUM), order_of_draw="clsi-gp41", placings=placings)) == []
    circle = (Placing(kind="acd-a", after="acd-b"), Placing(kind="acd-b", with_kind="acd-a"))
    assert len(said(site_of(kinds=(acd, lead, SERUM), order_of_draw="clsi-gp41", placings=circle))) == 2


def test_a_micro_tube_is_held_against_the_order_of_skin_puncture() -> None:
    micro = kind_of("k2-edta", accesses=("skin-puncture",))
    assert said(site_of(kinds=(micro,), order_of_draw="who-2010")) == []


def test_a_place_that_names_no_kind_of_the_site_is_found() -> None:
    (line,) = said(site_of(placings=(Placing(kind="serum", after="citrat"),)))
    assert line.startswith('site.toml [place] serum: found "citrat"; expected a tube kind of this site;')


def test_a_place_of_a_kind_that_the_order_of_draw_places_itself_is_said_to_do_nothing() -> None:
    edta = kind_of("k2-edta", key="edta")
    placing = Placing(kind="edta", before="serum")
    (line,) = said(site_of(kinds=(edta, SERUM), order_of_draw="clsi-gp41", placings=(placing,)))
    assert line == (
        "site.toml [place] edta: found a kind that CLSI GP41, 7th edition 2017, venous places itself; this line does "
        "nothing; expected a kind that it leaves unsaid; take the line out, or choose another order_of_draw"
    )


def test_two_benches_that_differ_by_capitals_or_spaces_are_found_with_the_usual_spelling() -> None:
    (line,) = said(site_of(zinc_of("a"), zinc_of("b"), zinc_of("c", bench="Chem istry")))
    assert line == (
        'tests.toml bench Chem istry: found "Chem istry" beside "chemistry"; '
        'expected one spelling of a bench; as two they share no tube; write "chemistry" in each'
    )
    assert said(site_of(zinc_of("a"), zinc_of("c", bench="chemistry 2"))) == []


def test_a_colour_written_for_a_kind_names_the_kinds_of_that_stopper() -> None:
    kinds = (SERUM, kind_of("none", key="n", stopper="red"), kind_of("none", key="m", stopper="dark red"))
    line, _ = said(site_of(zinc_of(tubes=("red",)), kinds=kinds, order_of_draw="common-practice"))
    assert line == (
        'tests.toml [zinc] accepts[0].tubes[0]: found "red"; '
        "expected a tube kind of this site, or a shipped one, not a colour; write n or m"
    )


def test_a_lot_past_its_day_is_told_where_another_size_is_used_in_its_stead() -> None:
    day = datetime.timedelta(days=1)
    lots = (Tube(draw_ul=4000), Tube(draw_ul=2000, expires=ON), Tube(draw_ul=3000, expires=ON - day))
    (found,) = find_expired({"k": kind_of("none", sizes=lots)}, ON)
    assert (found.level, found.entry) == ("note", "[k] sizes[2].expires")
    assert list(find_expired({"k": kind_of("none", sizes=lots[2:])}, ON)) == []  # lint tells a kind that is all past


def test_a_shared_bench_that_runs_nothing_is_found_with_the_near_one() -> None:
    (line,) = said(site_of(zinc_of(), share_benches=(("chemistry", "chemisty"),)))
    assert line == (
        'site.toml [planning] share_benches[0]: found "chemisty"; '
        "expected a bench that runs a test of this site; write chemistry"
    )


@pytest.mark.parametrize(("key", "write"), [("zink", "zinc"), ("Zn", "zinc")])
def test_a_test_of_the_gas_analyzer_that_the_site_does_not_have_is_found_with_a_near_one(key: str, write: str) -> None:
    (line,) = said(site_of(zinc_of(also=("ZN",)), whole_blood_tests=("zinc", key)))
    assert line == (
        f'site.toml [planning] whole_blood_tests[1]: found "{key}"; '
        f"expected the key of a test of this site; write {write}"
    )


def test_a_reserve_that_no_tube_can_hold_is_found_with_its_test_and_the_largest_tube() -> None:
    # By hand: 4.0 mL at a hematocrit of 0.5 and a recovery of 0.9 less 0.2 mL of dead volume is 1.6 mL of serum.
    half: dict[str, Any] = {"hematocrit": Fraction(1, 2), "recovery": Fraction(9, 10)}
    assert said(site_of(zinc_of(volume_ul=800), reserve_percent=200, **half)) == []
    assert said(site_of(zinc_of(volume_ul=800), reserve_percent=201, **half)) == [
        "site.toml [planning] reserve_percent: found 201 % of zinc, 1608 microlitres to keep; expected at most 1600 "
        "microlitres of serum, the most that a stocked tube yields (serum, hematocrit 0.5); keep less, or stock a "
        "larger size"
    ]


def test_a_changed_reserve_is_looked_at_though_the_tests_are_those_that_were_looked_at_before() -> None:
    kept, zinc = KeptLint(), zinc_of(volume_ul=800)
    half: dict[str, Any] = {"hematocrit": Fraction(1, 2), "recovery": Fraction(9, 10)}
    assert lint(site_of(zinc, reserve_percent=100, **half), kept=kept) == ()
    assert len(lint(site_of(zinc, reserve_percent=300, **half), kept=kept)) == 1


@pytest.mark.parametrize(
    ("liquid_ul", "count"), [(0, 1), (30, 1), (269, 1), (270, 0), (300, 0), (330, 0), (331, 1), (3000, 1)]
)
def test_a_citrate_tube_whose_liquid_does_not_fit_its_draw_is_found(liquid_ul: int, count: int) -> None:
    # ISO 6710: one part of citrate solution to nine of blood; 2.7 mL wants 300 uL.
    citrate = kind_of("citrate-9-1", sizes=(Tube(draw_ul=2700, liquid_additive_ul=liquid_ul),))
    assert len(said(site_of(kinds=(citrate,)))) == count


def test_a_blood_culture_needs_no_tube_of_the_packing() -> None:
    assert said(site_of(Test(key="bc", name="bc", bench="m", culture="set"))) == []


def test_every_finding_is_a_warning_and_all_come_in_one_run() -> None:
    site = site_of(zinc_of(tubes=("x",)), zinc_of("iron", tubes=("y",)), share_benches=(("a", "b"),))
    findings = lint(site)
    assert len(findings) == 6
    assert all(isinstance(f, Finding) and f.level == "warning" for f in findings)

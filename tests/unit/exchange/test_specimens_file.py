"""A file of specimens becomes what the record would hold, or is refused with the place of its fault."""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from msgspec.structs import replace

from cubital.errors import CubitalError
from cubital.exchange.specimens_file import ReadSpecimen, read_specimens
from cubital.handling.receipt import holds_for_whole
from tests.published.shipped import SHIPPED

FILES = Path(__file__).parents[2] / "data" / "specimens"
BERLIN = replace(SHIPPED, time_zone="Europe/Berlin")
# For each bad file: where the message points, and a piece of what it says.
FAULTS = {
    "not_json": ("not_json", "found the end of the input"),
    "another_format": ("format", 'expected "cubital.specimens/1"'),
    "one_name_twice": ("specimens[1].id", "a name that another one has"),
    "unknown_kind": ("specimens[0].kind", "expected a tube kind of this site"),
    "no_matrix": ("specimens[0].matrix", "expected one of whole-blood, plasma, serum"),
    "no_volume": ("specimens[0].usable_ml", "expected a value"),
    "unknown_test": ("specimens[0].tests[0]", "expected a test or panel of this site"),
    "panel_for_a_test": ("specimens[0].tests[0]", "found a panel"),
    "no_test": ("specimens[0].tests", "expected at least one"),
    "received_before_it_was_drawn": ("specimen T1", "expected an instant after its collection"),
    "gram_for_millilitre": ("specimens[0].draw_ml", "expected millilitres"),
    "hematocrit_in_percent": ("specimens[0].hematocrit", "write 0.45"),
    "report_of_a_test_not_asked": ("specimens[0].tests", "found no sodium"),
    "half_a_verdict": ("specimens[0].verdicts[0]", "expected test and outcome"),
    "unknown_check": ("specimens[0].verdicts[0].check", "expected one of identifiers"),
    "unknown_access": ("specimens[0].access", "one of straight-needle, winged-set, syringe, skin-puncture, line"),
    "half_a_stay": ("specimens[0].stored[0]", "expected storage and at"),
    "negative_index": ("specimens[0].indices.hemolysis", "found less than 0"),
    "time_that_the_clocks_skipped": ("specimens[0].collected_at", "skipped"),
    "parent_of_itself": ("parent_of_itself", "among its own parents"),
    "parents_in_a_circle": ("parents_in_a_circle", "among its own parents"),
    "poured_before_it_was_drawn": ("specimens[0].poured_at", "a time before the draw"),
    "more_left_than_was_usable": ("specimens[0].left_ml", "more than was usable"),
    "slip_of_a_field": ("specimens[0].recieved_at", "expected received_at"),
}


def good() -> dict[str, ReadSpecimen]:
    found = read_specimens((FILES / "good.json").read_bytes(), SHIPPED, where="good")
    return {read.specimen.id: read for read in found.specimens}


def test_a_specimen_is_what_the_file_says_in_the_words_of_the_site() -> None:
    found = good()
    assert found["T1"].specimen.tests == ("potassium", "sodium", "troponin-i")
    assert found["T1"].specimen.collected_at == datetime(2026, 11, 25, 7, 0, tzinfo=UTC)
    assert (found["T1"].specimen.additive, found["T1"].specimen.gel) == ("lithium-heparin", True)
    assert found["T2"].specimen.hematocrit == Fraction(42, 100)
    assert found["T4"].specimen.anticoagulated
    assert (found["T1"].specimen.access, found["T2"].specimen.access) == ("line", None)
    assert found["T5"].specimen.storage == "ice"
    assert found["T6"].specimen.reported == ("sodium",)
    assert found["T6"].specimen.left_ul == 1100
    assert found["T6"].indices == {"hemolysis": Decimal("0.1")}
    assert found["T8"].poured_at == datetime(2026, 11, 25, 8, 15, tzinfo=UTC)


def test_a_refusal_of_the_whole_tube_is_known_by_its_check() -> None:
    verdict = good()["T7"].specimen.verdicts["prothrombin-time"]
    assert verdict.outcome == "refuse"
    assert [holds_for_whole(reason) for reason in verdict.reasons] == [True]


def test_times_are_of_the_zone_of_the_site() -> None:
    found = read_specimens((FILES / "good.json").read_bytes(), BERLIN, where="good").specimens
    assert found[0].specimen.collected_at == datetime(2026, 11, 25, 6, 0, tzinfo=UTC)


def test_what_nothing_reads_is_named() -> None:
    assert read_specimens((FILES / "good.json").read_bytes(), SHIPPED, where="good").unread == ("note",)


def test_every_bad_file_is_here() -> None:
    assert {path.stem for path in FILES.glob("*.json")} == {*FAULTS, "good"}


@pytest.mark.parametrize("name", FAULTS)
def test_a_bad_file_is_refused_where_its_fault_is(name: str) -> None:
    where, words = FAULTS[name]
    site = BERLIN if "clocks" in name else SHIPPED
    with pytest.raises(CubitalError) as refused:
        read_specimens((FILES / f"{name}.json").read_bytes(), site, where=name)
    assert where in refused.value.where
    assert words in refused.value.message


@pytest.mark.parametrize("name", FAULTS)
def test_no_message_names_the_patient(name: str) -> None:
    site = BERLIN if "clocks" in name else SHIPPED
    with pytest.raises(CubitalError) as refused:
        read_specimens((FILES / f"{name}.json").read_bytes(), site, where=name)
    assert "P1" not in str(refused.value)

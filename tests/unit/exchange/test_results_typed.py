"""Results as a person types or pastes them, line by line: what is read, what is only said, what is refused."""

from __future__ import annotations

from decimal import Decimal

import pytest

from cubital.exchange.results_typed import is_table, read_typed_lines
from cubital.model.results import Earlier, Result


@pytest.mark.parametrize(
    "line",
    [
        "K 6.2 mmol/L", "potassium 6.2 mmol/L", "2823-3 6.2 mmol/L", "K,6.2,mmol/L", "K;6.2;mmol/L", "K\t6.2\tmmol/L",
        "K: 6.2 mmol/L", "K = 6.2 mmol/L", "  k   6.2   mmol/L  ", "K 6.2 mmol/L H", "K 6.2 H mmol/L", "K 6.2 meq/L",
        "K 0.0062 mol/L", "K 6.2 mmol/L HH",
    ],
)  # fmt: skip
def test_a_line_is_a_test_a_value_and_a_unit_however_they_are_parted(line: str) -> None:
    (found,) = read_typed_lines(line)
    assert found.result == Result(analyte="potassium", value=6.2)
    assert (found.said, found.is_refused) == ("", False)


@pytest.mark.parametrize(
    ("line", "analyte", "value", "low"),
    [
        ("total protein, 70, g/L", "total-protein", 70.0, None),
        ("calcium, total 2.3 mmol/L", "calcium", 2.3, None),
        ("Na 140 mmol/L 135-145", "sodium", 140.0, 135.0),
        ("Na 140 mmol/L L (135 - 145)", "sodium", 140.0, 135.0),
        ("Na\t140\tmmol/L\t135 to 145", "sodium", 140.0, 135.0),
        ("Ca 0 mmol/L", "calcium", 0.0, None),
    ],
)
def test_names_of_several_words_and_intervals_are_read(
    line: str, analyte: str, value: float, low: float | None
) -> None:
    (found,) = read_typed_lines(line)
    assert isinstance(found.result, Result)
    assert (found.result.analyte, found.result.value, found.result.low) == (analyte, value, low)


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("K", "no test with a number"),
        ("4.2 mmol/L", "no test with a number"),
        ("K 4.2", "expected a UCUM unit"),
        ("K 4.2 mEq/L", "write meq/L"),
        ("K 4.2 mg%", "write mg/dL"),
        ("K 4,2 mmol/L", "write 4.2"),
        ("K <3 mmol/L", "a bound"),
        ("K -4 mmol/L", "0.5 to 80"),
        ("K 420 mmol/L", "check value and unit"),
        ("K 4.2 mmol/L see comment", "take the rest out"),
        ("K 4.2 mmol/L 5.2-3.5", "an interval above 0"),
    ],
)
def test_a_line_that_is_not_sound_is_refused_in_words(line: str, said: str) -> None:
    (found,) = read_typed_lines(line)
    assert found.is_refused
    assert found.result is None
    assert said in found.said


def test_an_unknown_test_is_said_and_not_refused() -> None:
    known, unknown, near = read_typed_lines("K 4.2 mmol/L\ntroponin 3 ng/L\npotasium 4.2 mmol/L")
    assert known.result is not None
    assert (unknown.result, unknown.is_refused) == (None, False)
    assert "takes no part" in unknown.said
    assert "is it potassium?" in near.said


def test_lines_keep_their_numbers_over_empty_ones_and_what_does_not_print_is_blank() -> None:
    found = read_typed_lines("\n\nK 4.2 mmol/L\n\n\x07Na\x00140 mmol/L\n")
    assert [(line.number, line.text) for line in found] == [(3, "K 4.2 mmol/L"), (5, "Na 140 mmol/L")]


def test_a_result_that_stands_twice_is_taken_once_and_another_value_is_refused() -> None:
    _, same, other = read_typed_lines("K 4.2 mmol/L\n2823-3 4.2 meq/L\nK 5.9 mmol/L")
    assert (same.said, same.is_refused) == ("potassium as on line 1, taken once", False)
    assert other.is_refused
    assert "another than on line 1" in other.said


def test_earlier_lines_have_their_own_hours_or_those_of_the_field() -> None:
    text = "K 4.1 mmol/L 20 h\nCa 2.3 mmol/L\nK 4.3 mmol/L"
    found = read_typed_lines(text, hours_before=Decimal(48), is_earlier=True)
    assert [line.result.hours_before for line in found if isinstance(line.result, Earlier)] == [20, 48, 48]
    (none,) = read_typed_lines("K 4.1 mmol/L", is_earlier=True)
    assert none.is_refused
    assert "how long before" in none.said


def test_a_table_with_a_heading_and_json_are_known_for_what_they_are() -> None:
    assert is_table("sample,code,value,unit\nA,K,4,mmol/L")
    assert is_table("code\tvalue\tunit\nK\t4\tmmol/L")
    assert is_table('  {"results": []}')
    assert is_table("[]")
    assert not is_table("K 4 mmol/L\ncode value unit")
    assert not is_table("")

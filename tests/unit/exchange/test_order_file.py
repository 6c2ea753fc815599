"""Orders in JSON: exact numbers in, every wrong unit, slip and absurdity refused with its place."""

from __future__ import annotations

import datetime
import io
import json
from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from cubital.errors import ExchangeError, OrderError
from cubital.exchange.order_file import MOST_LINE_BYTES, BadOrder, read_order, read_orders
from cubital.model import Ask, Order

BAD = Path(__file__).parents[2] / "data" / "orders"
TODAY = datetime.date(2026, 11, 25)


def order_of(patient: Mapping[str, Any] | None = None, **fields: Any) -> Order:
    return read_order(json.dumps({"patient": patient or {}, "tests": ["K"], **fields}), today=TODAY)


def test_a_full_order_is_read_with_exact_numbers() -> None:
    order = read_order(
        """{"id": "a-1", "on": "2026-11-26", "access": "line", "objective": "least-blood",
        "priority": "timed", "patient": {
                    "age": "4 a", "sex": "female", "weight_kg": 16.1, "height_cm": 102.5, "hematocrit": 0.35,
                    "drawn_ml": 2.7, "flags": ["anticoagulated"]},
        "tests": ["K", {"test": "2345-7", "system": "http://loinc.org", "priority": "stat", "at_min": 120}],
        "line": {"dead_space_ml": 0.75, "carried_anticoagulant": true, "suspected_infection": true}}"""
    )
    assert order.id == "a-1"
    assert order.on == datetime.date(2026, 11, 26)
    assert (order.access, order.objective) == ("line", "least-blood")
    patient = order.patient
    assert (patient.age_h, patient.sex, patient.weight_g, patient.height_mm) == (35064, "female", 16100, 1025)
    assert patient.hematocrit == Fraction(35, 100)
    assert (patient.drawn_ul, patient.flags) == (2700, ("anticoagulated",))
    assert order.asks == (
        Ask(test="K", priority="timed"),
        Ask(test="2345-7", system="http://loinc.org", priority="stat", at_min=120),
    )
    assert order.line.dead_space_ul == 750
    assert order.line.carried_anticoagulant is True
    assert order.line.suspected_infection is True


def test_what_an_order_leaves_out_is_unknown_and_the_day_is_the_callers() -> None:
    order = read_order('{"tests": ["K"]}')
    assert order.patient.age_h is None
    assert order.patient.hematocrit is None
    assert order.objective is None
    assert order.on is None
    assert order_of().on == TODAY


def test_null_is_unknown() -> None:
    assert order_of({"age": None, "weight_kg": None}, objective=None).patient.weight_g is None


def test_unknown_content_is_kept_by_its_path_and_never_by_its_value() -> None:
    order = order_of({"ward": "secret"}, note="secret")
    assert order.unread == ("note", "patient.ward")


def test_unknown_flags_are_kept_as_they_are() -> None:
    assert order_of({"flags": ["afraid-of-needles", "anticoagulated"]}).patient.flags == (
        "afraid-of-needles",
        "anticoagulated",
    )


def test_a_birth_date_gives_the_age_on_the_day_of_the_draw() -> None:
    assert order_of({"birth_date": "2026-11-15"}).patient.age_h == 240
    assert order_of({"birth_date": "2026-11-25"}).patient.age_h == 0
    assert order_of({"birth_date": "2026-11-15"}, on="2026-11-16").patient.age_h == 24


def test_a_birth_date_without_a_day_of_the_draw_is_refused() -> None:
    with pytest.raises(OrderError, match="without the day of the draw"):
        read_order('{"tests": ["K"], "patient": {"birth_date": "2020-01-31"}}')


@pytest.mark.parametrize("hematocrit", [0.05, 0.45, 0.85])
def test_a_hematocrit_within_the_band_is_read_exactly(hematocrit: float) -> None:
    assert order_of({"hematocrit": hematocrit}).patient.hematocrit == Fraction(str(hematocrit))


@pytest.mark.parametrize(
    ("hematocrit", "remedy"),
    [
        (45, "write 0.45"),
        ("0.45 %", "write 0.45"),
        ("45 %", "write 0.45"),
        (0.0499, "such as 0.45"),
        (-0.4, "such as"),
        (0.851, "such as"),
        (0, "such as"),
        (1, "such as"),
        (True, "without quotes"),
        ([], "without quotes"),
        ("0,45", "write 0.45"),
    ],
)
def test_a_hematocrit_in_percent_or_outside_the_band_is_refused_with_what_to_write(
    hematocrit: object, remedy: str
) -> None:
    with pytest.raises(OrderError) as caught:
        order_of({"hematocrit": hematocrit})
    assert caught.value.where == "order patient.hematocrit"
    assert remedy in str(caught.value)


@pytest.mark.parametrize(
    ("patient", "remedy"),
    [
        ({"age": "1 d", "weight_kg": 3200}, "if that is grams, write 3.2"),
        ({"age": "4 a", "weight_kg": 16000}, "if that is grams, write 16"),
        ({"age": "40 a", "weight_kg": 0.0815}, "check it and the age"),
        ({"age": "10 d", "weight_kg": 70}, "check it and the age"),
        ({"age": "40 a", "weight_kg": 3.2}, "check it and the age"),
        ({"weight_kg": 651}, "if that is grams, write 0.651"),
        ({"weight_kg": 700_000}, "correct it"),
        ({"weight_kg": 0.19}, "correct it"),
        ({"weight_kg": 0}, "correct it"),
        ({"weight_kg": -70}, "correct it"),
        ({"age": "40 a", "height_cm": 1.75}, "if that is metres, write 175"),
        ({"age": "40 a", "height_cm": 1750}, "if that is millimetres, write 175"),
    ],
)
def test_a_weight_or_height_that_nobody_of_the_age_has_is_refused(
    patient: dict[str, Any], remedy: str
) -> None:
    with pytest.raises(OrderError) as caught:
        order_of(patient)
    assert remedy in str(caught.value)
    assert "expected kilograms" in str(caught.value) or "expected centimetres" in str(caught.value)


@pytest.mark.parametrize(
    "patient",
    [
        {"age": "1 d", "weight_kg": 0.5},
        {"age": "1 d", "weight_kg": 6},
        {"age": "4 a", "weight_kg": 16},
        {"age": "40 a", "weight_kg": 25},
        {"age": "40 a", "weight_kg": 400},
        {"weight_kg": 0.2},
        {"weight_kg": 650},
    ],
)
def test_a_rare_but_real_weight_is_let_through(patient: dict[str, Any]) -> None:
    assert order_of(patient).patient.weight_g == int(Fraction(str(patient["weight_kg"])) * 1000)


@pytest.mark.parametrize("age", ["4", 4, "4 years", "-1 d", "", "4 y", "131 a", "1e3 d", "٤ a", [], True])
def test_an_age_without_its_ucum_unit_is_refused(age: object) -> None:
    with pytest.raises(OrderError) as caught:
        read_order(json.dumps({"tests": ["K"], "patient": {"age": age}}))
    assert caught.value.where == "order patient.age"


@pytest.mark.parametrize(
    ("written", "twice"),
    [(["K", "k"], "tests[1]"), (["K", " K "], "tests[1]"), (["Na", "K", {"test": "K"}], "tests[2]")],
)
def test_the_same_test_written_twice_is_refused(written: list[object], twice: str) -> None:
    with pytest.raises(OrderError, match="again") as caught:
        order_of(tests=written)
    assert caught.value.where == f"order {twice}"


def test_the_same_test_at_another_time_is_a_series() -> None:
    order = order_of(tests=["HSTNT", {"test": "HSTNT", "at_min": 180}])
    assert [ask.at_min for ask in order.asks] == [None, 180]


def test_two_hundred_and_fifty_tests_are_read_and_one_more_is_refused() -> None:
    assert len(order_of(tests=[f"T{i}" for i in range(250)]).asks) == 250
    with pytest.raises(OrderError, match="found 251 tests; expected at most 250"):
        order_of(tests=[f"T{i}" for i in range(251)])


@pytest.mark.parametrize(
    ("fields", "place", "near"),
    [
        ({"acess": "line"}, "order acess", "access"),
        ({"patient": {"hematocritt": 0.4}}, "order patient.hematocritt", "hematocrit"),
        ({"patient": {"weight": 70}}, "order patient.weight", "weight_kg"),
        ({"tests": [{"tset": "K"}]}, "order tests[0].tset", "test"),
        ({"access": "line", "line": {"dead_space": 1}}, "order line.dead_space", "dead_space_ml"),
        ({"test": ["K"]}, "order test", "tests"),
    ],
)
def test_a_slip_in_a_field_is_refused_with_the_field_that_was_meant(
    fields: dict[str, Any], place: str, near: str
) -> None:
    with pytest.raises(OrderError) as caught:
        read_order(json.dumps({"tests": ["K"], **fields}))
    assert caught.value.where == place
    assert f"write {near}" in str(caught.value)


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"access": "needle"}, "expected one of straight-needle"),
        ({"access": 1}, "expected one of"),
        ({"objective": "least blood"}, 'write "least-blood"'),
        ({"priority": "urgent"}, "expected one of stat, timed, routine"),
        ({"patient": {"sex": "F"}}, "expected one of female, male"),
        ({"patient": []}, "expected an object"),
        ({"patient": {"drawn_ml": -1}}, "expected millilitres from 0"),
        ({"patient": {"drawn_ml": 10001}}, "expected millilitres from 0"),
        ({"patient": {"drawn_ml": 0.0001}}, "whole microlitres"),
        ({"patient": {"flags": "latex"}}, "expected a list of flags"),
        ({"patient": {"flags": [1]}}, "expected printable text"),
        ({"patient": {"birth_date": "2026-11-26"}}, "birth date in the future"),
        ({"patient": {"birth_date": "1890-01-01"}}, "over 130 years"),
        ({"patient": {"birth_date": "2026-02-30"}}, "expected a day of the calendar"),
        ({"patient": {"birth_date": "2026-02"}}, "expected a day of the calendar"),
        ({"patient": {"birth_date": "2020-01-31", "age": "6 a"}}, "expected one of the two"),
        ({"on": "25.11.2026"}, "write it as 2026-11-25"),
        ({"tests": []}, "found no tests"),
        ({"tests": None}, "found no tests"),
        ({"tests": "K"}, "expected a list of tests"),
        ({"tests": [""]}, "expected a test, panel or code"),
        ({"tests": ["K\u0007"]}, "expected a test, panel or code"),
        ({"tests": [None]}, "expected an object"),
        ({"tests": [1]}, "expected an object"),
        ({"tests": [{"priority": "stat"}]}, "expected a test, panel or code"),
        ({"tests": [{"test": "K", "at_min": -1}]}, "expected whole minutes"),
        ({"tests": [{"test": "K", "at_min": 1.5}]}, "expected whole minutes"),
        ({"line": {"dead_space_ml": 1}}, 'with access "line" only'),
        ({"access": "line", "line": {"dead_space_ml": 1000}}, "expected millilitres from 0 to 20"),
        ({"access": "line", "line": {"carried_anticoagulant": "no"}}, "expected true or false"),
        ({"id": 5}, "printable text"),
    ],
)
def test_what_is_not_an_order_is_refused(fields: dict[str, Any], message: str) -> None:
    with pytest.raises(OrderError) as caught:
        read_order(json.dumps({"tests": ["K"], **fields}), today=TODAY)
    assert message in str(caught.value)


@pytest.mark.parametrize("path", sorted(BAD.glob("*.json")), ids=lambda path: path.stem)
def test_each_bad_file_is_refused_with_the_fault_in_its_name(path: Path) -> None:
    words = path.stem.split("__")[1].replace("-", " ")
    with pytest.raises((ExchangeError, OrderError)) as caught:
        read_order(path.read_bytes(), where=path.name)
    assert words in str(caught.value)
    assert path.name in str(caught.value)


def test_there_are_bad_files_to_refuse() -> None:
    assert len(list(BAD.glob("*.json"))) >= 8


def test_a_nesting_bomb_and_an_input_over_five_megabytes_are_refused() -> None:
    with pytest.raises(ExchangeError, match="nested too deep"):
        read_order(b"[" * 200_000)
    with pytest.raises(ExchangeError, match="at most 5000000"):
        read_order(b" " * 5_000_001)


def test_a_byte_order_mark_is_passed_over() -> None:
    assert len(read_order(b'\xef\xbb\xbf{"tests": ["K"]}').asks) == 1


def test_json_lines_keep_their_order_and_one_bad_line_stops_nothing() -> None:
    lines = (
        b'{"id": "1", "tests": ["K"]}\n\n{"id": "2", "tests": []}\n{"id": "3",\n{"id": "4", "tests": ["Na"]}'
    )
    first, second, third, fourth = read_orders(io.BytesIO(lines), where="o.jsonl")
    assert isinstance(first, Order)
    assert first.id == "1"
    assert isinstance(second, BadOrder)
    assert (second.line, second.id) == (3, "2")
    assert second.error.where == "o.jsonl line 3 tests"
    assert isinstance(third, BadOrder)
    assert (third.line, third.id) == (4, None)
    assert isinstance(fourth, Order)
    assert fourth.id == "4"


@pytest.mark.parametrize("as_list", [True, False])
def test_a_huge_line_is_refused_and_the_next_one_is_read(as_list: bool) -> None:
    lines = [b'{"tests": ["' + b"x" * (3 * MOST_LINE_BYTES) + b'"]}\n', b'{"tests": ["K"]}\n']
    bad, good = read_orders(lines if as_list else io.BytesIO(b"".join(lines)))
    assert isinstance(bad, BadOrder)
    assert "1000000 bytes" in str(bad.error)
    assert bad.line == 1
    assert isinstance(good, Order)


def test_a_line_of_exactly_the_limit_is_read() -> None:
    text = b'{"tests": ["K"]}'
    line = text + b" " * (MOST_LINE_BYTES - len(text) - 1) + b"\n"
    (order,) = read_orders(io.BytesIO(line))
    assert isinstance(order, Order)

"""Who is printed comes whole out of a file or is refused by its field, and no message says what the field holds."""

from __future__ import annotations

import datetime
import json

import pytest

from cubital.errors import CubitalError, OrderError
from cubital.exchange.collection_file import read_collection

WHOLE = {
    "name": "Invented, Ottoline", "number": "X-000123", "second_number": "Y-9", "birth_date": "1958-03-02",
    "specimens": ["Q1", "Q2"], "collected": "2026-11-25 09:40", "collector": "N7",
}  # fmt: skip


def test_every_field_is_read() -> None:
    found = read_collection(json.dumps(WHOLE))
    assert (found.identity.name, found.identity.number, found.identity.second_number) == (
        "Invented, Ottoline", "X-000123", "Y-9",
    )  # fmt: skip
    assert found.identity.birth_date == datetime.date(1958, 3, 2)
    assert found.identity.is_invented is False
    assert found.specimens == ("Q1", "Q2")
    assert found.collected == datetime.datetime(2026, 11, 25, 9, 40)
    assert found.collector == "N7"


def test_what_may_be_left_out_is_none() -> None:
    found = read_collection('{"name": " N ", "number": "1", "birth_date": "1958-03-02"}')
    assert found.identity.name == "N"
    assert found.specimens == ()
    assert (found.identity.second_number, found.collected, found.collector) == (None, None, None)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("name", None), ("name", ""), ("name", "  "), ("name", 7), ("name", "Secret\u0000Name"), ("name", "S" * 400),
        ("number", None), ("number", 123456789), ("birth_date", None), ("birth_date", "02.03.1958"),
        ("birth_date", "1958-02-30"), ("birth_date", "1958-W09-7"), ("birth_date", 19580302),
        ("specimens", ["Q1", 7]), ("specimens", [""]), ("specimens", "Q1"), ("collected", "2026-11-25"),
        ("collected", "25.11.2026 09:40"), ("collected", 5), ("collector", 7), ("second_number", []),
        ("nam", "Secret"), ("ward", "Secret"),
    ],
)  # fmt: skip
def test_a_field_that_is_not_sound_is_refused_by_its_name_and_not_by_its_content(field: str, value: object) -> None:
    fields = {**WHOLE, field: value} if value is not None else {k: v for k, v in WHOLE.items() if k != field}
    with pytest.raises(OrderError) as refused:
        read_collection(json.dumps(fields), where="who.json")
    said = str(refused.value)
    assert said.startswith(f"who.json {field}"), said
    for content in ("Secret", "123456789", "1958-02-30", "02.03.1958", "19580302", "Ottoline", "SSS"):
        assert content not in said


@pytest.mark.parametrize("data", ["", "[]", "{", '{"name": "A", "name": "B"}', "null"])
def test_bytes_that_are_no_object_are_refused(data: str) -> None:
    with pytest.raises(CubitalError) as refused:
        read_collection(data, where="who.json")
    assert "who.json" in str(refused.value)

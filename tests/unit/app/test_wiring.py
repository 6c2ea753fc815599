"""Sites and orders out of folders, files and words."""

from __future__ import annotations

import datetime
import io
import json
from pathlib import Path

import pytest

from cubital.app.draws import Failure
from cubital.app.wiring import (
    open_site,
    order_of_words,
    read_bytes,
    read_day,
    read_lines,
    read_order,
    read_request,
)
from cubital.errors import ExchangeError, OrderError
from cubital.model import Order

DATA = Path(__file__).parents[2] / "data"
SITE = open_site()
DAY = datetime.date(2026, 11, 25)


def request_on(day: str | None, **patient: str) -> bytes:
    resource = {
        "resourceType": "ServiceRequest", "status": "active", "intent": "order", "id": "r",
        "subject": {"reference": "#p"}, "contained": [{"resourceType": "Patient", "id": "p", **patient}],
        "code": {"coding": [{"system": "http://loinc.org", "code": "2823-3"}]},
    }  # fmt: skip
    return json.dumps(resource | ({} if day is None else {"occurrenceDateTime": day})).encode()


def test_a_birth_date_without_a_day_of_the_draw_is_read_against_today() -> None:
    order = read_order('{"patient": {"birth_date": "2022-11-25"}, "tests": ["K"]}', today=DAY)
    assert order.on == DAY
    assert order.patient.age_h == 24 * 1461


def test_our_own_json_and_fhir_are_told_apart_by_the_resource_type() -> None:
    assert read_request(b'{"tests": ["K"]}', SITE, where="x")[0].asks[0].test == "K"
    assert read_request(request_on("2027-01-01"), SITE, where="x", today=DAY)[0].asks[0].test == "2823-3"


def test_a_day_at_the_prompt_that_the_order_contradicts_is_refused() -> None:
    data = b'{"tests": ["K"], "on": "2026-11-24"}'
    with pytest.raises(OrderError, match="2026-11-24 in the order and 2026-11-25 at the prompt"):
        read_request(data, SITE, where="x", on=DAY)
    assert read_request(data, SITE, where="x", on=datetime.date(2026, 11, 24))[0].on == datetime.date(2026, 11, 24)


@pytest.mark.parametrize(
    ("day", "planned"), [("2026-11-24", DAY), ("2026-11-25", DAY), ("2026-11-26", datetime.date(2026, 11, 26))]
)
def test_a_fhir_request_is_planned_for_its_day_or_for_today_where_that_is_past(
    day: str, planned: datetime.date
) -> None:
    (order,) = read_request(request_on(day, birthDate="2026-11-01"), SITE, where="x", today=DAY)
    assert order.on == planned
    assert order.patient.age_h == 24 * (planned - datetime.date(2026, 11, 1)).days
    assert any("is past" in text for text in order.unread) == (day < str(DAY))


def test_a_fhir_request_without_a_day_is_planned_for_today_with_the_age_of_today() -> None:
    (order,) = read_request(request_on(None, birthDate="2026-11-01"), SITE, where="x", today=DAY)
    assert (order.on, order.patient.age_h) == (DAY, 24 * 24)


def test_lines_carry_the_number_of_their_line_past_blank_and_overlong_ones() -> None:
    good = b'{"tests": ["K"]}\n'
    stream = io.BytesIO(b"\n" + good + b'{"id": "' + b"x" * 2_500_000 + b'"}\n' + b"\n" + good[:-1])
    found = list(read_lines(stream, where="f", site=SITE, today=DAY))
    assert [line for line, _ in found] == [2, 3, 5]
    assert [type(each) for _, each in found] == [Order, Failure, Order]


def test_a_line_of_another_day_than_the_prompts_fails_alone() -> None:
    lines = b'{"tests": ["K"], "on": "2026-01-01", "id": "old"}\n{"tests": ["K"]}\n'
    (_, first), (_, second) = read_lines(io.BytesIO(lines), where="f", site=SITE, on=DAY)
    assert isinstance(first, Failure)
    assert first.id == "old"
    assert isinstance(second, Order)


def test_a_line_may_be_a_fhir_request_and_a_bundle_of_two_patients_gives_two_orders_of_its_line() -> None:
    one = json.loads(request_on(str(DAY)))
    other = {**one, "id": "other", "subject": {"reference": "Patient/2"}}
    other.pop("contained", None)
    bundle = {"resourceType": "Bundle", "type": "collection", "entry": [{"resource": one}, {"resource": other}]}
    lines = [{"tests": ["K"], "id": "own"}, one, {**one, "status": "draft"}, bundle]
    stream = io.BytesIO("".join(json.dumps(line) + "\n" for line in lines).encode())
    found = list(read_lines(stream, where="f", site=SITE, today=DAY))
    assert [line for line, _ in found] == [1, 2, 3, 4, 4]
    assert [type(each) for _, each in found] == [Order, Order, Failure, Order, Order]
    failure = found[2][1]
    assert isinstance(failure, Failure)
    assert failure.error.where == "f line 3 status"


def test_words_are_checked_as_an_order_file_is() -> None:
    with pytest.raises(OrderError, match=r"write 0\.45"):
        order_of_words({"tests": ["K"], "patient": {"hematocrit": 45}}, where="prompt")


@pytest.mark.parametrize("text", ["", "25-11-2026", "2026-02-30", "2026-11-25T00:00", "２０２６-11-25", "20261125"])
def test_anything_but_a_day_of_the_calendar_is_refused(text: str) -> None:
    with pytest.raises(OrderError, match="day of the calendar"):
        read_day(text, where="--on")


def test_a_file_that_cannot_be_read_is_refused_by_its_name(tmp_path: Path) -> None:
    with pytest.raises(ExchangeError, match=r"absent\.json: found No such file"):
        read_bytes(str(tmp_path / "absent.json"), stdin=None)
    with pytest.raises(ExchangeError, match="Is a directory"):
        read_bytes(str(tmp_path), stdin=None)
    with pytest.raises(ExchangeError, match="null"):
        read_bytes("a\0b", stdin=None)


def test_a_huge_file_is_not_held_whole(tmp_path: Path) -> None:
    path = tmp_path / "huge.json"
    path.write_bytes(b" " * 6_000_000)
    assert len(read_bytes(str(path), stdin=None)) == 5_000_001


def test_the_shipped_site_and_the_demo_site_are_two() -> None:
    assert open_site().name != open_site(demo=True).name

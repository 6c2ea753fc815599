"""A value of another type than is asked for is a finding where it stands, never an internal fault or an endless one."""

from __future__ import annotations

import datetime
import json
from decimal import Decimal
from typing import Any

import pytest

from cubital.app.site_exchange import export_site, import_site
from cubital.app.wiring import open_site, read_request, site_files
from cubital.errors import CubitalError, ExchangeError, OrderError
from cubital.exchange.site_files import read_site_tables
from cubital.model import Finding

SITE = open_site(demo=True)
NAME, FILES = site_files(demo=True)
ESCAPE = "\x1b]0;taken\x07\x1b[31m"


@pytest.mark.parametrize(
    "stray",
    [Decimal("nan"), Decimal("sNaN"), Decimal("inf"), datetime.date(2027, 3, 31), datetime.time(12), [], {}, "2"],
)
def test_a_stray_value_among_the_sizes_of_a_shipped_kind_is_a_finding(stray: object) -> None:
    entry = {"additive": "k2-edta", "sizes": [{"draw_ml": Decimal(2)}, {"draw_ml": stray}]}
    found = read_site_tables({"tubes.toml": {"include": "shipped", "edta": entry}}, name="house").findings
    assert any(one.level == "error" and "sizes[1]" in one.entry for one in found)


def _definition(spoil: dict[str, Any]) -> bytes:
    whole = json.loads(export_site(SITE, "fhir", today=datetime.date(2026, 11, 25)))["entry"][0]["resource"]
    whole["typeTested"][0].update(spoil)
    return json.dumps(whole).encode()


@pytest.mark.parametrize(
    "spoil",
    [
        {"extension": [{"url": []}]},
        {"extension": [{"url": {"a": 1}}]},
        {"extension": [{"url": "urn:cubital:specimen-definition:way", "valuePositiveInt": []}]},
        {"type": {"coding": [{"system": [], "code": {}}]}},
        {"container": {"type": {"coding": [{"system": [], "code": []}]}}},
    ],
)
def test_a_definition_with_a_list_where_a_word_belongs_is_told_or_read(spoil: dict[str, Any]) -> None:
    found = import_site(_definition(spoil), onto=FILES, name=NAME, where="definitions")
    assert found.findings or found.is_usable


def test_a_key_in_brackets_is_told_and_does_not_turn_for_ever() -> None:
    for key in ("[k]", "]", "a]b", "[", "k] sizes["):
        table = f'kind,additive,draw_ml\n"{key}",k2-edta,99\n'.encode()
        found = import_site(table, onto=FILES, name=NAME, where="tubes.csv")
        assert any(one.entry.startswith("line 2 draw_ml") for one in found.findings)


def test_what_a_request_says_reaches_no_terminal_as_it_stands() -> None:
    request = {
        "resourceType": "ServiceRequest", "status": "active", "intent": "order", "subject": {"reference": "Patient/1"},
        "code": {"coding": [{"system": ESCAPE, "code": "K"}]},
    }  # fmt: skip
    with pytest.raises(OrderError, match="expected an address of printable letters") as refused:
        read_request(json.dumps(request).encode(), SITE, where="FHIR")
    assert str(refused.value).isprintable()
    assert "?]0;taken??[31m" in refused.value.message


def test_no_error_and_no_finding_holds_what_a_terminal_would_obey() -> None:
    for text in (ESCAPE, "a\nb", "a\u202eb", "\ud800", "a\u2028b"):
        error = ExchangeError(text, where=text)
        finding = Finding(level="error", file=text, entry=text, found=text, expected=text, remedy=text)
        assert str(error).isprintable()
        assert (error.message.isprintable(), error.where.isprintable(), str(finding).isprintable()) == (True,) * 3
    assert str(CubitalError("„Ä µ — 5 ≤ 6“", where="x")) == "x: „Ä µ — 5 ≤ 6“"


def test_a_column_that_nothing_reads_is_listed_without_its_escapes() -> None:
    table = f"kind,additive,draw_ml,{ESCAPE}\nhouse,k2-edta,4,x\n".encode()
    found = import_site(table, onto=FILES, name=NAME, where="tubes.csv")
    assert found.unread == ("tubes.csv: ?]0;taken??[31m",)


def test_a_key_of_the_policy_that_cannot_be_printed_is_told_and_not_taken() -> None:
    table = f"part,key,value\ntravel,{ESCAPE},25\n".encode()
    found = import_site(table, onto=FILES, name=NAME, where="policy.csv")
    assert not found.is_usable
    assert "expected a printable name" in str(found.findings[0])
    assert found.changes == ()

"""Whatever arrives from outside, the readers give a value or an error of ours, never another exception."""

from __future__ import annotations

import copy
import json
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cubital.errors import CubitalError
from cubital.exchange.demo_folder import demo_folder
from cubital.exchange.fhir import read_fhir
from cubital.exchange.order_file import BadOrder, read_order, read_orders
from cubital.exchange.site_folder import read_site_with_findings
from cubital.model import Finding, Order, Site
from cubital.planning.directory import Directory

PATIENTLY = settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
SITE = read_site_with_findings()[0]
assert SITE is not None
DIRECTORY = Directory(SITE)

ORDER: dict[str, Any] = {
    "id": "1",
    "patient": {"age": "4 a", "sex": "female", "weight_kg": 16.1, "hematocrit": 0.35, "flags": ["x"]},
    "tests": ["K", {"test": "Na", "priority": "stat", "at_min": 5}],
    "access": "line",
    "line": {"dead_space_ml": 1.5},
}
REQUEST: dict[str, Any] = {
    "resourceType": "ServiceRequest",
    "status": "active",
    "intent": "order",
    "code": {"coding": [{"system": "http://loinc.org", "code": "2823-3"}]},
    "subject": {"reference": "Patient/1"},
}
BUNDLE: dict[str, Any] = {
    "resourceType": "Bundle",
    "entry": [
        {
            "fullUrl": "urn:uuid:1",
            "resource": {"resourceType": "Patient", "id": "1", "birthDate": "2001-02-03"},
        },
        {"resource": REQUEST},
        {
            "resource": {
                "resourceType": "Observation",
                "status": "final",
                "subject": {"reference": "Patient/1"},
                "code": {"coding": [{"system": "http://loinc.org", "code": "29463-7"}]},
                "valueQuantity": {"value": 70, "code": "kg"},
            }
        },
    ],
}

SCALARS = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(max_size=20)
    | st.sampled_from(["K", "LIPID", "4 a", "2026-02-30", "0.45 %", "line", "stat", "K\u0000", "\ud800"])
)
JSON = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=12), inner, max_size=4),
    max_leaves=12,
)


def paths_of(value: Any, at: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    children = (
        value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    )
    return [at, *(path for key, child in children for path in paths_of(child, (*at, key)))]


@st.composite
def damaged(draw: st.DrawFn, whole: dict[str, Any]) -> Any:
    """A sound document with some of its parts replaced by anything."""
    value = copy.deepcopy(whole)
    for _ in range(draw(st.integers(1, 3))):
        path = draw(st.sampled_from(paths_of(value)))
        if not path:
            return draw(JSON)
        parent = value
        for key in path[:-1]:
            parent = parent[key]
        parent[path[-1]] = draw(JSON)
    return value


def text_of(value: Any) -> bytes:
    return json.dumps(value).encode("utf-8", "surrogatepass")


def gives_a_value_or_our_error(read: Callable[[], Any]) -> Any:
    try:
        return read()
    except CubitalError:
        return None


@PATIENTLY
@given(st.binary(max_size=300))
def test_any_bytes_as_an_order_or_a_fhir_request(data: bytes) -> None:
    gives_a_value_or_our_error(lambda: read_order(data))
    gives_a_value_or_our_error(lambda: read_fhir(data, directory=DIRECTORY))
    for result in read_orders(data.splitlines(keepends=True)):
        assert isinstance(result, Order | BadOrder)


@settings(PATIENTLY, max_examples=400)
@given(damaged(ORDER))
def test_a_damaged_order_gives_an_order_of_tests_or_our_error(value: Any) -> None:
    order = gives_a_value_or_our_error(lambda: read_order(text_of(value)))
    if order is not None:
        assert 1 <= len(order.asks) <= 250
        assert all(ask.test.strip() for ask in order.asks)
        assert order.patient.hematocrit is None or 0 < order.patient.hematocrit < 1
        assert order.patient.weight_g is None or 200 <= order.patient.weight_g <= 650_000
        assert order.patient.age_h is None or order.patient.age_h >= 0


@settings(PATIENTLY, max_examples=400)
@given(damaged(BUNDLE) | damaged(REQUEST))
def test_a_damaged_fhir_bundle_gives_orders_or_our_error(value: Any) -> None:
    orders = gives_a_value_or_our_error(lambda: read_fhir(text_of(value), directory=DIRECTORY))
    for order in orders or ():
        assert order.asks
        for ask in order.asks:
            DIRECTORY.resolve(ask.test, system=ask.system)


def write_site(folder: Path, name: str, data: bytes) -> tuple[Site | None, tuple[Finding, ...]]:
    (folder / name).write_bytes(data)
    return read_site_with_findings(folder)


NAMES = st.sampled_from(["site.toml", "tubes.toml", "tests.toml", "panels.toml"])


@PATIENTLY
@given(
    NAMES, st.binary(max_size=200) | st.text(max_size=200).map(lambda t: t.encode("utf-8", "surrogatepass"))
)
def test_any_bytes_as_a_file_of_a_site(name: str, data: bytes) -> None:
    with tempfile.TemporaryDirectory() as folder:
        site, findings = write_site(Path(folder), name, data)
        assert (site is None) == any(finding.level == "error" for finding in findings)


@PATIENTLY
@given(st.data())
def test_a_damaged_file_of_the_demo_site_gives_a_site_or_findings(data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(["site.toml", "tubes.toml", "tests.toml"]))
    text = (demo_folder() / name).read_bytes()
    start = data.draw(st.integers(0, len(text)))
    end = data.draw(st.integers(start, min(len(text), start + 20)))
    words = st.sampled_from(
        [b"", b"[", b"=", b"1e9999", b"nan", b"true", b"{}", b"[]", b'"x"', b"-1", b"\xff", b"0x1"]
    )
    damaged_text = text[:start] + data.draw(words) + text[end:]
    with tempfile.TemporaryDirectory() as folder:
        site, findings = write_site(Path(folder), name, damaged_text)
        assert (site is None) == any(finding.level == "error" for finding in findings)
        assert all(str(finding).isprintable() for finding in findings)


TOML_VALUES = st.sampled_from(
    [
        "1",
        "-1",
        "0",
        "1.5",
        "nan",
        "inf",
        "true",
        '"x"',
        '""',
        "[]",
        "{}",
        "[[]]",
        "[{}]",
        '["x"]',
        "2027-03-31",
        "12:00:00",
        "[1]",
        "{a = 1}",
        "{rule = 1}",
        "9" * 30,
        '"clsi-gp41"',
        '"shipped"',
        '[["a", "b"]]',
        "0x" + "f" * 4000,
    ]
)
TOML_KEYS = st.sampled_from(
    [
        "additive",
        "gel",
        "sizes",
        "dead_volume_ul",
        "stopper",
        "name",
        "use",
        "accesses",
        "mark",
        "also",
        "codes",
        "bench",
        "accepts",
        "own_tube",
        "ice",
        "timed",
        "culture",
        "caution",
        "tests",
        "series",
        "order_of_draw",
        "objective",
        "share_benches",
        "recovery",
        "hematocrit",
        "blood_limit",
        "altitude_m",
        "near_limit_percent",
        "reserve_percent",
        "line_discard",
        "whole_blood_tests",
        "usual_travel_min",
        "windows",
        "after",
        "draw_ml",
        "from",
    ]
)


@settings(PATIENTLY, max_examples=400)
@given(
    NAMES,
    st.sampled_from(["", 'include = "shipped"\n']),
    st.sampled_from(
        ["", "[planning]", "[edta]", "[potassium]", "[lipid-panel]", "[place]", "[travel]", "[stoppers]", "[names]"]
    ),
    st.dictionaries(TOML_KEYS, TOML_VALUES, max_size=6),
)
def test_any_values_under_the_keys_of_the_contract(
    name: str, head: str, table: str, values: dict[str, str]
) -> None:
    text = head + table + "\n" + "".join(f"{key} = {value}\n" for key, value in values.items())
    with tempfile.TemporaryDirectory() as folder:
        site, findings = write_site(Path(folder), name, text.encode())
        assert (site is None) == any(finding.level == "error" for finding in findings)

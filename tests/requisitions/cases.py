"""The cases: one requisition each, what is expected of its plan, and what that rests on. Read strictly, or refused.

A case is decided by a rule of the trade, not by what a program printed, and pins no volume that the rule is not about.
All patients are invented. The order is the JSON form of an order, without its day, which is the same for all.
"""

from __future__ import annotations

import json
import tomllib
import typing
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import Any, Literal

import msgspec

from cubital import facts
from cubital.app.wiring import open_site, read_request
from cubital.model import Order, Planning, Site
from tests.requisitions.checks import can_fail
from tests.requisitions.expectations import Expect, asked_of, stated

FOLDER = Path(__file__).parent
DAY = "2026-11-25"
DEMO = open_site(demo=True)
Basis = Literal["standard", "published", "common-practice", "memory", "computed"]
Seen = Literal["read", "abstract", "secondary", "memory"]


class BadCase(ValueError):
    """A case that says nothing, contradicts itself, or that no plan could fail."""


class Case(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One requisition. `source` is a key of `data/sources.toml`, or a citation with how it was `seen`.

    `site` changes the demo site's policy for this case alone, where the rule is about a policy.
    """

    key: str
    why: str
    order: Mapping[str, Any]
    expect: Expect
    basis: Basis
    source: str
    seen: Seen | None = None
    note: str | None = None
    site: Mapping[str, Any] = {}


@cache
def read_cases(folder: Path = FOLDER) -> Mapping[str, Case]:
    """Every case of the folder by `theme/key`; raises `BadCase` for one that cannot be used."""
    found: dict[str, Case] = {}
    for file in sorted(folder.glob("*.toml")):
        for case in _read_file(file):
            name = f"{file.stem}/{case.key}"
            if name in found:
                raise BadCase(f"{file.name} [{case.key}]: found it twice; expected each key once; rename one")
            found[name] = case
    return found


def _read_file(file: Path) -> Iterator[Case]:
    table = tomllib.loads(file.read_text(encoding="utf-8"))
    if set(table) != {"case"} or not table["case"]:
        raise BadCase(f"{file.name}: found {sorted(table)}; expected [[case]] tables and nothing else")
    for number, entry in enumerate(table["case"], start=1):
        where = f"{file.name} [{entry.get('key', number)}]"
        try:
            case = msgspec.convert(entry, Case)
            expected = stated(case.expect)
        except ValueError as error:
            raise BadCase(f"{where}: {error}") from error
        if not expected or set(expected) != set(entry["expect"]):
            raise BadCase(f"{where}: found {sorted(entry['expect'])}; expected expectations that each say something")
        _check(case, expected, where)
        yield case


def _check(case: Case, expected: Mapping[str, Any], where: str) -> None:
    """That the case can be used: sourced, of this site's names, not at odds with itself, and able to fail."""
    if not case.why.endswith(".") or not case.key.replace("-", "").isalnum():
        raise BadCase(f"{where}: expected a key of words and a reason that is a sentence")
    if case.source in facts.sources():
        if case.seen is not None:
            raise BadCase(f"{where}: found `seen` beside a source that says it itself; take it out")
    elif case.seen is None or " " not in case.source:
        raise BadCase(f"{where}: found {case.source!r}; expected a key of sources.toml, or a citation and `seen`")
    if "on" in case.order or not case.order.get("tests"):
        raise BadCase(f"{where}: expected an order with tests and without its day, which is {DAY}")
    if "refused" in expected:
        if len(expected) > 1:
            raise BadCase(f"{where}: found {sorted(expected)}; an order that is refused has no plan to look at")
        return
    _check_names(case, site_of(case), where)
    for key in expected:
        if not can_fail(Expect(**{key: expected[key]})):
            raise BadCase(f"{where}: expect.{key} cannot fail: no plan and the worst plan both meet it")


def _check_names(case: Case, site: Site, where: str) -> None:
    """Tests and kinds are the site's, a pair is of two, and nothing is expected both ways."""
    tests, kinds = asked_of(case.expect)
    for test in tests:
        if test not in site.tests:
            raise BadCase(f"{where}: found test {test!r}; expected a key of the site's directory")
    for kind in kinds:
        if kind not in site.kinds:
            raise BadCase(f"{where}: found kind {kind!r}; expected a key of the site's stock")
    expect = case.expect
    for name in ("never_together", "same_tube", "separate_draws", "same_draw", "drawn_before"):
        for one, other in getattr(expect, name):
            if one == other:
                raise BadCase(f"{where}: expect.{name} names {one} twice; no plan could fail or no plan could meet it")
    contradictions = (
        set(expect.kept) & set(expect.left_out),
        set(map(frozenset, expect.never_together)) & set(map(frozenset, expect.same_tube)),
        set(map(frozenset, expect.separate_draws)) & set(map(frozenset, expect.same_draw)),
    )
    if any(contradictions) or (expect.nothing_left_out and (expect.left_out or expect.kept)):
        raise BadCase(f"{where}: expectations that contradict or repeat one another")
    if expect.draws == 1 and (expect.separate_draws or expect.same_draw or expect.drawn_before):
        raise BadCase(f"{where}: one draw already says what is drawn together")


def site_of(case: Case) -> Site:
    """The demo site, under the policy that the case is about."""
    return _site_under(json.dumps(case.site, sort_keys=True))


@cache
def _site_under(policy: str) -> Site:
    values = json.loads(policy)
    if not values:
        return DEMO
    hints = typing.get_type_hints(Planning)
    if unknown := sorted(set(values) - set(hints)):
        raise BadCase(f"site: found {unknown}; expected fields of the site's planning policy")
    typed = {key: msgspec.convert(value, hints[key]) for key, value in values.items()}
    return msgspec.structs.replace(DEMO, planning=msgspec.structs.replace(DEMO.planning, **typed))


def order_of(case: Case) -> Order:
    """The order of a case, read as any order in JSON is, on the day of all cases."""
    data = json.dumps({**case.order, "on": DAY}).encode()
    (order,) = read_request(data, site_of(case), where=case.key)
    return order

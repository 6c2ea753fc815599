"""The form of the site's policy: its name, its order of draw, what may share a tube, and the blood limit."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Any

from cubital.app.site_edition import Edition, EntryChanges
from cubital.app.site_form import Fields, Form, Typed, Values, lines, number, words

FILE = "site.toml"
NO_LIMIT = "none"
TOP = ("name", "time_zone")
PLANNING = ("order_of_draw", "objective", "share_benches", "recovery", "hematocrit", "blood_limit", "altitude_m")


def values_of_policy(edition: Edition, _: str) -> Values:
    """The policy as it is used, in the form of its file."""
    site, planning = edition.site, edition.site.planning
    return {
        "name": site.name,
        "time_zone": site.time_zone,
        "order_of_draw": planning.order_of_draw,
        "objective": planning.objective,
        "share_benches": [list(group) for group in planning.share_benches],
        "recovery": _decimal(planning.recovery),
        "hematocrit": None if planning.hematocrit is None else _decimal(planning.hematocrit),
        "blood_limit": planning.blood_limit or NO_LIMIT,
        "altitude_m": planning.altitude_m,
    }


def _decimal(share: Fraction) -> Decimal:
    return Decimal(share.numerator) / share.denominator


def own_policy(edition: Edition) -> Mapping[str, Any]:
    """What the site's own file says: the fields at its head and those of its planning."""
    table = edition.tables.get(FILE, {})
    planning = table.get("planning", {})
    return {**{name: table[name] for name in TOP if name in table}, **planning}


def _read(fields: Fields, _: Values | None) -> Typed:
    return Typed(
        values={
            "name": fields.said("name").strip(),
            "time_zone": fields.said("time_zone").strip(),
            "order_of_draw": fields.said("order_of_draw"),
            "objective": fields.said("objective"),
            "share_benches": [words(line) for line in lines(fields.said("share_benches"))],
            "recovery": number(fields.said("recovery")),
            "hematocrit": number(fields.said("hematocrit")),
            "blood_limit": fields.said("blood_limit"),
            "altitude_m": number(fields.said("altitude_m")),
        }
    )


def _put(edition: Edition, _: str, changed: Values) -> EntryChanges:
    entries: dict[str, Any] = {name: changed[name] for name in TOP if name in changed}
    planning = {name: changed[name] for name in PLANNING if name in changed}
    if planning:
        kept = dict(edition.tables.get(FILE, {}).get("planning", {}))
        entries["planning"] = {name: value for name, value in {**kept, **planning}.items() if value is not None}
    return {FILE: entries}


def _headers(_: str) -> tuple[tuple[str, str, str], ...]:
    return ((FILE, "[planning]", ""), (FILE, "name", "name"), (FILE, "time_zone", "time_zone"))


POLICY_FORM = Form(file=FILE, before=values_of_policy, read=_read, put=_put, headers=_headers)

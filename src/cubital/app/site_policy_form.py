"""The form of the site's policy: its name, its order of draw, what shares a tube, limits, ways of tubes, the bench."""

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
PLANNING = (
    "order_of_draw", "objective", "share_benches", "recovery", "hematocrit", "blood_limit", "altitude_m",
    "near_limit_percent", "reserve_percent", "line_discard", "whole_blood_tests", "usual_travel_min", "windows",
)  # fmt: skip
TRAVEL = "travel"
BENCH = ("hemolysis_band",)


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
        "near_limit_percent": planning.near_limit_percent,
        "reserve_percent": planning.reserve_percent,
        "line_discard": planning.line_discard,
        "whole_blood_tests": list(planning.whole_blood_tests),
        "usual_travel_min": planning.usual_travel_min,
        "windows": planning.windows,
        TRAVEL: dict(planning.travel_min),
        "hemolysis_band": site.bench_policy.hemolysis_band,
    }


def _decimal(share: Fraction) -> Decimal:
    return Decimal(share.numerator) / share.denominator


def own_policy(edition: Edition) -> Mapping[str, Any]:
    """What the site's own file says: the fields at its head, those of its planning and its bench, and its places."""
    table = edition.tables.get(FILE, {})
    inside = {**table.get("planning", {}), **table.get("bench", {})}
    return {**{name: table[name] for name in (*TOP, TRAVEL) if name in table}, **inside}


def _read(fields: Fields, before: Values | None) -> Typed:
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
            "near_limit_percent": number(fields.said("near_limit_percent")),
            "reserve_percent": number(fields.said("reserve_percent")),
            "line_discard": fields.said("line_discard"),
            "whole_blood_tests": words(fields.said("whole_blood_tests")),
            "usual_travel_min": number(fields.said("usual_travel_min")),
            "windows": fields.said("windows"),
            TRAVEL: read_travel(fields.said(TRAVEL)),
            "hemolysis_band": _flag(fields.said("hemolysis_band"), before),
        }
    )


def read_travel(text: str) -> dict[str, Any]:
    """The places of lines such as `ward: 25`, each with its minutes.

    A place that is written twice keeps both, and one without minutes an empty text: the lint refuses them by name.

    >>> read_travel("ward: 25" + chr(10) + "home visit: 120")
    {'ward': 25, 'home visit': 120}
    >>> read_travel("ward: 25" + chr(10) + "ward: 30" + chr(10) + "clinic")
    {'ward': '25 and 30', 'clinic': ''}
    """
    found: dict[str, Any] = {}
    for line in lines(text):
        place, colon, minutes = line.rpartition(":")
        place, said = (place.strip(), minutes.strip()) if colon else (line, "")
        value = number(said)
        found[place] = f"{found[place]} and {said}" if place in found else "" if value is None else value
    return found


def _flag(said: str, before: Values | None) -> bool:
    """Yes or no; a form that does not ask leaves it as it was."""
    return said == "yes" if said else bool((before or {}).get("hemolysis_band", False))


def _put(edition: Edition, _: str, changed: Values) -> EntryChanges:
    entries: dict[str, Any] = {name: changed[name] for name in TOP if name in changed}
    planning = {name: changed[name] for name in PLANNING if name in changed}
    if TRAVEL in changed:
        entries[TRAVEL] = changed[TRAVEL] or None
    if planning:
        kept = dict(edition.tables.get(FILE, {}).get("planning", {}))
        entries["planning"] = {name: value for name, value in {**kept, **planning}.items() if value is not None}
    bench = {name: changed[name] for name in BENCH if name in changed}
    if bench:
        entries["bench"] = {**edition.tables.get(FILE, {}).get("bench", {}), **bench}
    return {FILE: entries}


def _headers(_: str) -> tuple[tuple[str, str, str], ...]:
    return (
        (FILE, "[planning]", ""), (FILE, "[travel]", TRAVEL), (FILE, "[bench]", ""), (FILE, "name", "name"),
        (FILE, "time_zone", "time_zone"),
    )  # fmt: skip


POLICY_FORM = Form(file=FILE, before=values_of_policy, read=_read, put=_put, headers=_headers)

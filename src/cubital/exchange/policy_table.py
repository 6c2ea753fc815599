"""`site.toml`: the site's name and policy."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import msgspec

from cubital.exchange.bench_table import read_bench
from cubital.exchange.limits_table import note_idle_limits, read_limits
from cubital.exchange.local_time import is_zone
from cubital.exchange.table import Table, is_text, near_misses, show, words
from cubital.facts import SamplingLimit
from cubital.model import BenchPolicy, Finding, Placing, Planning
from cubital.model.vocabulary import LINE_DISCARDS, OBJECTIVES, WINDOWS

SITE_KEYS = ("name", "time_zone", "planning", "place", "travel", "limits", "bench", "stoppers", "names")
PLANNING_KEYS = (
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
)
MOST_RESERVE_PERCENT = 300
MOST_TRAVEL_MIN = 1440
PLACE_KEYS = ("after", "before", "with", "because")
NO_LIMIT = "none"
UTC = "UTC"
# A policy for skin puncture is taken by the access, not chosen for a whole site.
NOT_A_SITE_POLICY = ("skin-puncture",)


class Policy(msgspec.Struct, frozen=True, kw_only=True):
    """What `site.toml` says."""

    name: str
    time_zone: str
    planning: Planning
    bench: BenchPolicy
    stoppers: Mapping[str, str]
    names: Mapping[str, str]
    limits: Mapping[str, SamplingLimit] = {}


def read_policy(
    content: Mapping[str, Any],
    *,
    file: str,
    findings: list[Finding],
    policies: Iterable[str],
    limits: Iterable[str],
    shipped: Planning,
    default_name: str,
    shipped_bench: BenchPolicy | None = None,
) -> Policy:
    """The name and policy of one site; what the file leaves out is the shipped policy."""
    top = Table(content, file=file, findings=findings)
    _refuse_unknown_top(top)
    shipped_limits = tuple(limits)
    own = read_limits(top, shipped=shipped_limits, reserved=(NO_LIMIT,))
    planning = top.section("planning")
    written = top.content.get("limits")
    # A limit with a fault of its own is named all the same: its fault is told once, where it is.
    named = (*shipped_limits, *(written if isinstance(written, dict) else own))
    values = _read_planning(planning, policies, named, shipped) if planning is not None else {}
    placings = _read_placings(top)
    if "travel" in content:
        values["travel_min"] = _read_travel(top)
    planned = msgspec.structs.replace(shipped, **values) if values else shipped
    note_idle_limits(top, own.values(), planned.blood_limit)
    return Policy(
        name=top.text("name", default=default_name) or default_name,
        time_zone=_read_zone(top),
        planning=msgspec.structs.replace(planned, placings=placings) if placings else planned,
        bench=read_bench(top, shipped_bench or BenchPolicy()),
        stoppers=_read_texts(top, "stoppers"),
        names=_read_texts(top, "names"),
        limits=own,
    )


def _read_zone(top: Table) -> str:
    name = top.text("time_zone", default=UTC) or UTC
    if name == UTC or is_zone(name):
        return name
    top.fault(
        "time_zone",
        found=name,
        expected="a name of the IANA time zone database",
        remedy='write it as "Europe/Berlin" or "UTC"',
    )
    return UTC


def _refuse_unknown_top(top: Table) -> None:
    for key in top.content:
        if key in PLANNING_KEYS:
            top.fault(
                key,
                found=words("it at the head of the file"),
                expected="it under [planning]",
                remedy="write [planning] above it",
            )
    top.refuse_unknown((*SITE_KEYS, *(k for k in top.content if k in PLANNING_KEYS)))


def _read_planning(
    table: Table, policies: Iterable[str], limits: Iterable[str], shipped: Planning
) -> dict[str, Any]:
    table.refuse_unknown(PLANNING_KEYS)
    policies = tuple(p for p in policies if p not in NOT_A_SITE_POLICY)
    limit = table.choice("blood_limit", (*limits, NO_LIMIT), default=shipped.blood_limit)
    altitude_m = table.whole("altitude_m", least=-430, most=6000, unit="metres")
    return {
        "order_of_draw": table.choice("order_of_draw", policies, default=shipped.order_of_draw),
        "objective": table.choice("objective", OBJECTIVES, default=shipped.objective),
        "share_benches": _read_groups(table) if "share_benches" in table.content else shipped.share_benches,
        "recovery": table.share("recovery", least="0", most="1", default=shipped.recovery),
        "hematocrit": table.share("hematocrit", least="0.05", most="0.85", default=shipped.hematocrit),
        "blood_limit": None if limit == NO_LIMIT else limit,
        "altitude_m": shipped.altitude_m if altitude_m is None else altitude_m,
        **_read_reserves(table, shipped),
        **_read_ways(table, shipped),
    }


def _read_reserves(table: Table, shipped: Planning) -> dict[str, Any]:
    """What is kept back, and near which share of the limit nothing is."""
    near = table.whole("near_limit_percent", least=1, most=100, unit="percent")
    reserve = table.whole("reserve_percent", least=0, most=MOST_RESERVE_PERCENT, unit="percent")
    return {
        "near_limit_percent": shipped.near_limit_percent if near is None else near,
        "reserve_percent": shipped.reserve_percent if reserve is None else reserve,
        "line_discard": table.choice("line_discard", LINE_DISCARDS, default=shipped.line_discard),
    }


def _read_ways(table: Table, shipped: Planning) -> dict[str, Any]:
    """What the gas analyzer measures, how long a tube travels, and how strictly it must be in time."""
    tests = tuple(dict.fromkeys(table.words("whole_blood_tests")))
    usual_min = table.whole("usual_travel_min", least=0, most=MOST_TRAVEL_MIN, unit="minutes")
    return {
        "whole_blood_tests": tests if "whole_blood_tests" in table.content else shipped.whole_blood_tests,
        "usual_travel_min": shipped.usual_travel_min if usual_min is None else usual_min,
        "windows": table.choice("windows", WINDOWS, default=shipped.windows),
    }


def _read_travel(top: Table) -> dict[str, int]:
    """The minutes on the way by place; one place in two spellings is refused, for nobody knows which holds."""
    table = top.section("travel")
    spelt: dict[str, str] = {}
    minutes_of = {}
    for place in table.content if table else ():
        if table is None or not _is_place(table, place):
            continue
        minutes = table.whole(place, least=0, most=MOST_TRAVEL_MIN, unit="minutes")
        twin = spelt.setdefault(" ".join(place.casefold().split()), place)
        if twin != place:
            table.fault(
                place, found=words(f'"{twin}" above it'), expected="each place once", remedy="take one of them out"
            )
        elif minutes is not None:
            minutes_of[place] = minutes
    return minutes_of


def _is_place(table: Table, place: str) -> bool:
    if is_text(place) and place == place.strip():
        return True
    table.fault(
        show(place)[1:-1],
        found=words("a place that cannot be printed"),
        expected="printable text without spaces around it",
        remedy="write the word by which an order names the place",
    )
    return False


def _read_groups(table: Table) -> tuple[tuple[str, ...], ...]:
    value = table.content["share_benches"]
    if not isinstance(value, list):
        table.fault(
            "share_benches",
            found=value,
            expected="a list of lists of benches",
            remedy='write it as [["chemistry", "serology"]]',
        )
        return ()
    rows = table.inner({f"[{i}]": row for i, row in enumerate(value)}, "share_benches")
    groups = []
    owners: dict[str, int] = {}
    for i in range(len(value)):
        group = rows.words(f"[{i}]")
        if len(set(group)) < 2 and isinstance(value[i], list):
            rows.fault(
                f"[{i}]", found=value[i], expected="two or more different benches", remedy="add a bench"
            )
        for bench in group:
            if owners.setdefault(bench, i) != i:
                rows.fault(
                    f"[{i}]",
                    found=bench,
                    expected="each bench in one group",
                    remedy="join the two groups, or take it out of one",
                )
        groups.append(tuple(dict.fromkeys(group)))
    return tuple(groups)


def _read_placings(top: Table) -> tuple[Placing, ...]:
    place = top.section("place")
    placings = []
    for kind in place.content if place else ():
        row = place.table(kind) if place else None
        if row is None:
            continue
        row.refuse_unknown(PLACE_KEYS)
        given = [k for k in ("after", "before", "with") if k in row.content]
        other = row.text(given[0]) if len(given) == 1 else None
        if len(given) != 1:
            row.fault(
                "",
                found=words(" and ".join(given) or "no place"),
                expected="one of after, before and with",
                remedy='write it as {after = "edta", because = "..."}',
            )
        because = row.text("because", default="house rule") or "house rule"
        if other == kind:
            row.fault(given[0], found=other, expected="another kind", remedy="name the kind it stands beside")
        elif other is not None:
            key = "with_kind" if given[0] == "with" else given[0]
            placings.append(Placing(kind=kind, because=because, **{key: other}))
    return tuple(placings)


def _read_texts(top: Table, key: str) -> dict[str, str]:
    table = top.section(key)
    texts = {}
    for word in table.content if table else ():
        text = table.text(word) if table else None
        if text is not None:
            texts[word] = text
    return texts


def refuse_unknown_words(
    texts: Mapping[str, str], known: Iterable[str], *, file: str, header: str, what: str
) -> list[Finding]:
    """A finding for every key of `[stoppers]` or `[names]` that stands for nothing at this site."""
    known = tuple(known)
    findings = []
    for word in texts:
        if word not in known:
            near = near_misses(word, known)
            findings.append(
                Finding(
                    level="error",
                    file=file,
                    entry=f"{header} {word[:60]}",
                    found="an unknown key",
                    expected=what,
                    remedy=f"write {near[0]}" if near else "remove it",
                )
            )
    return findings

"""The form of one test of the directory."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from cubital import facts
from cubital.app.site_edition import Edition, EntryChanges
from cubital.app.site_form import Fields, Form, Typed, Values, known_of, lines, number, read_codes, words
from cubital.facts.directory import HANDLING

FILE = "tests.toml"
MOST_ACCEPTS = 12
PLAIN = ("name", "also", "bench", "codes", "accepts", "own_tube", "timed", "moment", "rank", "caution", "culture")


def is_adding(edition: Edition, file: str = FILE) -> bool:
    """Whether this file of the site adds to the shipped one, as one that is not there does."""
    return file not in edition.tables or edition.tables[file].get("include") == "shipped"


def own_test(edition: Edition, key: str) -> Mapping[str, Any] | None:
    """What the site's own file says of this test."""
    found = edition.tables.get(FILE, {}).get(key)
    return found if isinstance(found, Mapping) else None


def shipped_test(edition: Edition, key: str) -> Mapping[str, Any] | None:
    """What the shipped directory says of this test, where the site adds to it."""
    return facts.tests_table().get(key) if is_adding(edition) else None


def values_of_test(edition: Edition, key: str) -> Values | None:
    """The test as the site's file over the shipped one states it."""
    own, shipped = own_test(edition, key), shipped_test(edition, key)
    if (own is None and shipped is None) or key not in edition.site.tests:
        return None
    return _normal({**(shipped or {}), **(own or {})}, key)


def _normal(entry: Mapping[str, Any], key: str) -> Values:
    timed = entry.get("timed")
    timed = "timed" if timed is True else timed.get("rule") if isinstance(timed, Mapping) else timed or None
    return {
        "name": entry.get("name") or key.replace("-", " "),
        "also": list(entry.get("also", ())),
        "bench": entry.get("bench"),
        "codes": dict(entry.get("codes", {})),
        "accepts": [{**row, "tubes": list(row["tubes"])} for row in entry.get("accepts", ())],
        "own_tube": bool(entry.get("own_tube", False)),
        "timed": timed,
        "moment": entry.get("moment") or None,
        "rank": entry.get("rank") or None,
        "caution": list(entry.get("caution", ())),
        "culture": entry.get("culture"),
        **{term: entry.get(term, False) for term in HANDLING},
    }


def _read(fields: Fields, before: Values | None) -> Typed:
    accepts, rows = _read_accepts(fields)
    chosen = fields.all_said("handling")
    values: Values = {
        "name": fields.said("name").strip(),
        "also": lines(fields.said("also")),
        "bench": fields.said("bench").strip(),
        "codes": read_codes(fields.said("codes")),
        "accepts": accepts,
        "own_tube": bool(fields.said("own_tube")),
        "timed": fields.said("timed").strip() or None,
        "moment": fields.said("moment").strip() or None,
        "rank": fields.said("rank") or None,
        "caution": lines(fields.said("caution")),
        # A test does not turn into a culture: only a new one may be made so.
        "culture": (before or {}).get("culture") if before is not None else fields.said("culture") or None,
        # What a term says in words of its own stays while it is ticked.
        **{term: term in chosen and ((before or {}).get(term) or True) for term in HANDLING},
    }
    return Typed(values=values, rows={"accepts": rows})


def _read_accepts(fields: Fields) -> tuple[list[Values], tuple[int, ...]]:
    accepts, rows = [], []
    for row in range(MOST_ACCEPTS):
        tubes = words(fields.said(f"accepts.{row}.tubes"))
        amounts = {name: number(fields.said(f"accepts.{row}.{name}")) for name in ("volume_ul", "minimum_ul")}
        if tubes or any(amount is not None for amount in amounts.values()):
            accepts.append(known_of({"matrix": fields.said(f"accepts.{row}.matrix"), "tubes": tubes, **amounts}))
            rows.append(row)
    return accepts, tuple(rows)


def put_test(edition: Edition, key: str, changed: Values) -> EntryChanges:
    """The entry with these fields changed; a value that is the shipped one again is left to the shipped file."""
    own, shipped = own_test(edition, key), shipped_test(edition, key)
    entry = dict(own or {})
    old = None if shipped is None else _normal(shipped, key)
    for name, value in changed.items():
        entry.pop(name, None)
        is_nothing = value is None or value is False or value in ([], {}, "")
        if old is not None and value == old.get(name):
            continue
        if not is_nothing:
            entry[name] = value
        elif old is not None and name not in ("name", "culture", "bench"):
            # The shipped entry says something: only an empty value of the site's own takes it away.
            entry[name] = False if name in ("timed", "moment", "rank") else value
    return put_entry(edition, FILE, key, entry or None)


def put_entry(edition: Edition, file: str, key: str, entry: Values | None) -> EntryChanges:
    """The change of this one entry; a file that is not there yet begins by adding to the shipped one."""
    begin = {} if file in edition.tables else {"include": "shipped"}
    return {file: {**begin, key: entry}}


def _headers(key: str) -> tuple[tuple[str, str, str], ...]:
    return ((FILE, f"[{key}]", ""),)


TEST_FORM = Form(file=FILE, before=values_of_test, read=_read, put=put_test, headers=_headers)

"""The form of one panel: the tests that one name stands for, or the draws of a timed series."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from cubital import facts
from cubital.app.site_edition import Edition, EntryChanges
from cubital.app.site_form import Fields, Form, Typed, Values, known_of, lines, number, read_codes, words
from cubital.app.site_test_form import is_adding, put_entry
from cubital.model import Panel

FILE = "panels.toml"
MOST_STEPS = 12
# Written together: what a site says of one of them stands in the place of all of the shipped panel.
_MEMBERS = ("tests", "series")
_COUNTED = ("anchor", "of")


def own_panel(edition: Edition, key: str) -> Mapping[str, Any] | None:
    """What the site's own file says of this panel."""
    found = edition.tables.get(FILE, {}).get(key)
    return found if isinstance(found, Mapping) else None


def shipped_panel(edition: Edition, key: str) -> Mapping[str, Any] | None:
    """What the shipped file says of this panel, where the site adds to it."""
    return facts.panels_table().get(key) if is_adding(edition, FILE) else None


def values_of_panel(edition: Edition, key: str) -> Values | None:
    """The panel as it is used, in the form of its file."""
    panel = edition.site.panels.get(key)
    return None if panel is None else _values(panel)


def _values(panel: Panel) -> Values:
    return {
        "name": panel.name,
        "also": list(panel.also),
        "codes": dict(panel.codes),
        "tests": list(panel.tests),
        "series": [{"at_min": step.at_min, "tests": list(step.tests)} for step in panel.series],
        "anchor": panel.anchor,
        "of": panel.of,
    }


def _read(fields: Fields, _: Values | None) -> Typed:
    series, rows = _read_series(fields)
    return Typed(
        values={
            "name": fields.said("name").strip(),
            "also": lines(fields.said("also")),
            "codes": read_codes(fields.said("codes")),
            "tests": words(fields.said("tests")),
            "series": series,
            **{name: fields.said(name).strip() or None for name in _COUNTED},
        },
        rows={"series": rows},
    )


def _read_series(fields: Fields) -> tuple[list[Values], tuple[int, ...]]:
    series, rows = [], []
    for row in range(MOST_STEPS):
        tests, at_min = words(fields.said(f"series.{row}.tests")), number(fields.said(f"series.{row}.at_min"))
        if tests or at_min is not None:
            series.append(known_of({"at_min": at_min, "tests": tests}))
            rows.append(row)
    return series, tuple(rows)


def put_panel(edition: Edition, key: str, changed: Values) -> EntryChanges:
    """The entry with these fields changed; a value that is the shipped one again is left to the shipped file."""
    own, shipped = own_panel(edition, key), shipped_panel(edition, key)
    now = values_of_panel(edition, key) or {}
    entry = dict(own or {})
    for name in ("name", "also", "codes"):
        if name in changed:
            _put(entry, name, changed[name], (shipped or {}).get(name))
    if any(name in changed for name in (*_MEMBERS, *_COUNTED)):
        said = {name: changed.get(name, now.get(name)) or [] for name in _MEMBERS}
        counted = {name: changed.get(name, now.get(name)) for name in _COUNTED}
        for name in (*_MEMBERS, *_COUNTED):
            entry.pop(name, None)
        is_shipped = shipped is not None and all(
            value == list(shipped.get(name, ())) for name, value in said.items()
        )  # fmt: skip
        if shipped is None or not is_shipped or any(value != shipped.get(name) for name, value in counted.items()):
            # An emptied panel is written as one without tests, which the lint refuses: it is not the shipped one.
            entry.update({name: value for name, value in said.items() if value} or {"tests": []})
            entry.update({name: value for name, value in counted.items() if value is not None})
    return put_entry(edition, FILE, key, entry or None)


def _put(entry: Values, name: str, value: Any, shipped: Any) -> None:
    entry.pop(name, None)
    is_nothing = value in (None, "", [], {})
    if value == shipped or (is_nothing and (shipped is None or name == "name")):
        return
    entry[name] = value


def panels_with(edition: Edition, test: str) -> tuple[Panel, ...]:
    """The panels of the site that name this test."""
    return tuple(
        panel
        for panel in edition.site.panels.values()
        if test in panel.tests or any(test in step.tests for step in panel.series)
    )


def _headers(key: str) -> tuple[tuple[str, str, str], ...]:
    return ((FILE, f"[{key}]", ""),)


PANEL_FORM = Form(file=FILE, before=values_of_panel, read=_read, put=put_panel, headers=_headers)

"""What one version of a site says that another does not, value by value."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any

from cubital import facts
from cubital.model import Finding, Site
from cubital.model.site_version import SiteChange

_UNITS = {"_ml": " mL", "_ul": " µL", "_percent": " %"}
_MEMBERS = ("tests", "series")
Tables = Mapping[str, Mapping[str, Any]]


def changes_between(older: Tables, newer: Tables) -> tuple[SiteChange, ...]:
    """Every value of the files that differs, in the order of the newer ones.

    >>> found = changes_between({"tubes.toml": {"edta": {"mark": "E"}}}, {"tubes.toml": {"edta": {"mark": "E2"}}})
    >>> [(one.entry, one.field, one.was, one.now) for one in found]
    [('edta', 'mark', 'E', 'E2')]
    """
    files = dict.fromkeys((*newer, *older))
    return tuple(one for file in files for one in _of_file(file, older.get(file), newer.get(file)))


def _of_file(file: str, older: Mapping[str, Any] | None, newer: Mapping[str, Any] | None) -> Iterator[SiteChange]:
    for key in dict.fromkeys((*(newer or {}), *(older or {}))):
        was, now = (older or {}).get(key), (newer or {}).get(key)
        if was == now:
            continue
        is_table = all(isinstance(one, Mapping) for one in (was, now) if one is not None)
        shipped = _shipped(file, key, older) if is_table else {}
        if shipped:
            # What the site's file does not say the shipped one does: that is what the change is a change of.
            was, now = _over(shipped, was or {}), _over(shipped, now or {})
        if isinstance(was, Mapping) and isinstance(now, Mapping):
            for field in dict.fromkeys((*now, *was)):
                if was.get(field) != now.get(field):
                    yield SiteChange(file=file, entry=key, field=field, was=_words(was, field), now=_words(now, field))
        else:
            yield SiteChange(file=file, entry=key, field="", was=_words(older or {}, key), now=_words(newer or {}, key))


def _over(shipped: Mapping[str, Any], entry: Mapping[str, Any]) -> dict[str, Any]:
    """The entry over the shipped one; a panel's own tests or series stand in the place of all that says what it is."""
    replaced = (*_MEMBERS, "anchor", "of") if any(name in entry for name in _MEMBERS) else ()
    return {**{name: value for name, value in shipped.items() if name not in replaced}, **entry}


def _shipped(file: str, key: str, table: Mapping[str, Any] | None) -> dict[str, Any]:
    """What the shipped file says of this entry, where the site's file adds to it."""
    if table is not None and table.get("include") != "shipped":
        return {}
    tables = {"tests.toml": facts.tests_table, "tubes.toml": facts.tube_table, "panels.toml": facts.panels_table}
    found = tables[file]().get(key, {}) if file in tables else {}
    return {name: value for name, value in found.items() if name != "from"}


def _words(table: Mapping[str, Any], key: str) -> str | None:
    return say_value(table[key]) if key in table else None


def lost_panels(older: Site, newer: Site) -> tuple[Finding, ...]:
    """A warning for every panel that is gone because tests of it are."""
    found = []
    for key, panel in older.panels.items():
        members = dict.fromkeys((*panel.tests, *(test for step in panel.series for test in step.tests)))
        gone = [test for test in members if test not in newer.tests]
        if key not in newer.panels and gone:
            found.append(
                Finding(
                    level="warning", file="panels.toml", entry=f"[{key}]",
                    found=f"the panel {panel.name} without {', '.join(gone[:4])}{' and others' if gone[4:] else ''}",
                    expected="every test that a panel stands for",
                    remedy="the panel goes with them; keep the tests, or give it others",
                )
            )  # fmt: skip
    return tuple(found)


def say_value(value: Any) -> str:
    """A value of a site's file on one line, as a person would read it.

    >>> say_value([{"draw_ml": Decimal("2.7"), "in_stock": 80}, {"draw_ml": Decimal("4.5")}])
    'draw 2.7 mL, in stock 80; draw 4.5 mL'
    """
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Mapping):
        return ", ".join(_named(key, one) for key, one in value.items())
    if isinstance(value, list | tuple):
        separator = "; " if any(isinstance(one, Mapping | list | tuple) for one in value) else ", "
        return separator.join(_inner(one) for one in value) or "none"
    if isinstance(value, Decimal):
        return f"{value:f}"
    if isinstance(value, datetime.date):
        return value.isoformat()
    return str(value)


def _named(key: str, value: Any) -> str:
    """A value behind its name, its unit behind it."""
    for suffix, unit in _UNITS.items():
        if key.endswith(suffix):
            return f"{key.removesuffix(suffix).replace('_', ' ')} {_inner(value)}{unit}"
    return f"{key.replace('_', ' ')} {_inner(value)}"


def _inner(value: Any) -> str:
    if isinstance(value, list | tuple) and not any(isinstance(one, Mapping) for one in value):
        return " > ".join(say_value(one) for one in value) if value else "none"
    return say_value(value)

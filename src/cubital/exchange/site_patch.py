"""Tables that came in, laid over the files of a site: only what they say otherwise is changed in the text."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from cubital import facts
from cubital.exchange import directory_sheet, policy_sheet, stock_sheet
from cubital.exchange.site_files import change_files, tables_of
from cubital.exchange.site_filling import Entry, filled_directory, filled_stock, sheet_of
from cubital.exchange.site_folder import CLAIMS, SITE, TESTS, TUBES
from cubital.exchange.site_sheet import Entries
from cubital.exchange.toml_text import write_toml
from cubital.facts.directory import HANDLING
from cubital.model import Finding, Site, Test
from cubital.model.site_version import SiteFiles

_SHIPPED = "shipped"


class Tables(NamedTuple):
    """What came in: each table that was there, else None."""

    tests: Entries | None = None
    tubes: Entries | None = None
    policy: Entries | None = None


class TableChange(NamedTuple):
    """What a table does to one file, by key; `missing` are entries of the site that it does not have."""

    file: str
    added: tuple[str, ...]
    changed: tuple[str, ...]
    missing: tuple[str, ...]


class Patch(NamedTuple):
    """The files as the tables would have them, and what that changes."""

    files: dict[str, str]
    changes: tuple[TableChange, ...]


def directory_entries(tests: Mapping[str, Test]) -> Mapping[str, Entry]:
    """The entries of these tests as a table says them."""
    sheet = sheet_of(directory_sheet.directory_columns(tests), directory_sheet.directory_rows(tests))
    return directory_sheet.read_directory_sheet(sheet, findings=[]).entries


def stock_entries(site: Site) -> Mapping[str, Entry]:
    """The entries of a site's tube kinds as a table says them."""
    sheet = sheet_of(stock_sheet.COLUMNS, stock_sheet.stock_rows(site.kinds))
    return stock_sheet.read_stock_sheet(sheet, findings=[]).entries


def policy_entries(site: Site) -> Mapping[str, Entry]:
    """The tables of a site's policy as a table says them."""
    sheet = sheet_of(policy_sheet.COLUMNS, policy_sheet.policy_rows(site))
    return policy_sheet.read_policy_sheet(sheet, findings=[]).entries


def patch_site(files: SiteFiles, site: Site, tables: Tables, *, replaces: bool) -> Patch:
    """The files of this site with the tables laid over them.

    An entry that says what the site says already is left as it stands, with its sources; what a changed
    entry says otherwise rests on the site. Entries that a table does not have stay, unless it `replaces`.
    """
    written = tables_of(files, findings=[])
    changed = dict(files)
    changes = []
    if tables.policy is not None:
        changed, change = _patch_policy(changed, written, site, tables.policy.entries, replaces)
        changes.append(change)
    if tables.tubes is not None:
        changed, change = _patch_stock(changed, site, tables.tubes, replaces)
        changes.append(change)
    if tables.tests is not None:
        changed, change = _patch_directory(changed, written, site, tables.tests, replaces)
        changes.append(change)
    return Patch(changed, tuple(changes))


def _compare(file: str, have: Mapping[str, Entry], want: Mapping[str, Entry]) -> TableChange:
    return TableChange(
        file,
        added=tuple(key for key in want if key not in have),
        changed=tuple(key for key in want if key in have and want[key] != have[key]),
        missing=tuple(key for key in have if key not in want),
    )


def _patch_directory(
    files: dict[str, str], written: Mapping[str, Entry], site: Site, said: Entries, replaces: bool
) -> tuple[dict[str, str], TableChange]:
    have = directory_entries(site.tests)
    want = filled_directory(said, have)
    change = _compare(TESTS, have, want)
    table = written.get(TESTS, {"include": _SHIPPED})
    shipped = facts.tests_table() if "include" in table else {}
    removed = change.missing if replaces else ()
    if any(key in shipped for key in removed):
        kept = {**{key: entry for key, entry in have.items() if key not in removed}, **want}
        whole = {key: _with_basis(entry, have.get(key), site.tests.get(key)) for key, entry in kept.items()}
        return {**files, TESTS: write_toml(whole)}, change
    entries: dict[str, Entry | None] = dict.fromkeys(removed)
    for key in (*change.added, *change.changed):
        entries[key] = _new_test(want[key], have.get(key, {}), table.get(key), shipped.get(key))
    if entries and TESTS not in files:
        files = {**files, TESTS: write_toml({"include": _SHIPPED})}
    return (change_files(files, {TESTS: entries}) if entries else files), change


def _new_test(want: Entry, have: Entry, own: Entry | None, shipped: Entry | None) -> Entry:
    """The entry of the site's own file: what it holds, with only what the table says otherwise changed."""
    entry = dict(own or {})
    fields = [field for field in dict.fromkeys((*want, *have)) if want.get(field) != have.get(field)]
    for field in fields:
        if field in want:
            entry[field] = want[field]
        elif shipped is not None and field in shipped:
            entry[field] = _nothing(shipped[field])
        else:
            entry.pop(field, None)
    if "caution" in fields:
        # A term in words of its own counts among the cautions, which now stand in their own list.
        entry |= {term: True for term in HANDLING if isinstance(entry.get(term), str)}
    marks = entry.get("from")
    if isinstance(marks, Mapping):
        entry["from"] = {**marks, **_own_marks(fields)}
    return entry


def _nothing(value: object) -> object:
    """What a file writes where the shipped entry says this and the site does not."""
    if isinstance(value, list | tuple):
        return []
    return {} if isinstance(value, Mapping) else False


def _own_marks(fields: Iterable[str]) -> dict[str, list[str]]:
    """The marks of what the site says itself, for the claims that these fields make."""
    found = (CLAIMS.get(field, ("handling",) if field in HANDLING else ()) for field in fields)
    return {claim: ["site", "site"] for claims in found for claim in claims}


def _with_basis(want: Entry, have: Entry | None, test: Test | None) -> Entry:
    """A whole entry with the marks of what it left as it was."""
    if test is None or have is None or "entry" in test.basis:
        return want
    fields = [field for field in dict.fromkeys((*want, *have)) if want.get(field) != have.get(field)]
    marks = {claim: list(mark) for claim, mark in test.basis.items()}
    return {**want, "from": {**marks, **_own_marks(fields)}}


def _patch_stock(
    files: dict[str, str], site: Site, said: Entries, replaces: bool
) -> tuple[dict[str, str], TableChange]:
    have = stock_entries(site)
    want = filled_stock(said, have)
    change = _compare(TUBES, have, want)
    written = tables_of(files, findings=[])
    table = written.get(TUBES, {"include": _SHIPPED})
    removed = change.missing if replaces else ()
    if "include" in table and any(key in facts.tube_table() for key in removed):
        kept = {**{key: entry for key, entry in have.items() if key not in removed}, **want}
        files = {**files, TUBES: write_toml(kept)}
    else:
        entries: dict[str, Entry | None] = dict.fromkeys(removed)
        for key in (*change.added, *change.changed):
            entries[key] = _new_kind(want[key], have.get(key, {}), table.get(key))
        if entries and TUBES not in files:
            files = {**files, TUBES: write_toml({"include": _SHIPPED})}
        files = change_files(files, {TUBES: entries}) if entries else files
    return _with_words(files, written.get(SITE, {}), want, change, removed), change


def _new_kind(want: Entry, have: Entry, own: Entry | None) -> Entry:
    if own is None:
        return want
    entry = dict(own)
    for field in dict.fromkeys((*want, *have)):
        if want.get(field) == have.get(field):
            continue
        if field in want:
            entry[field] = want[field]
        else:
            entry.pop(field, None)
    return entry


def _with_words(
    files: dict[str, str], policy: Entry, want: Mapping[str, Entry], change: TableChange, removed: tuple[str, ...]
) -> dict[str, str]:
    """The policy's own words for kinds, brought to what the table now says, for they stand over the stock's."""
    fresh: dict[str, dict[str, Any]] = {}
    for part, field in (("stoppers", "stopper"), ("names", "name")):
        words = policy.get(part)
        if not isinstance(words, Mapping):
            continue
        told = {key: want[key].get(field) for key in change.changed if key in words}
        kept = {
            key: told.get(key, word)
            for key, word in words.items()
            if key not in removed and told.get(key, word) is not None
        }
        if kept != dict(words):
            fresh[part] = kept
    return change_files(files, {SITE: fresh}) if fresh else files


def _patch_policy(
    files: dict[str, str], written: Mapping[str, Entry], site: Site, want: Mapping[str, Entry], replaces: bool
) -> tuple[dict[str, str], TableChange]:
    have, own = policy_entries(site), written.get(SITE, {})
    flat_have, flat_want = _flat(have), _flat(want)
    change = _compare(SITE, flat_have, flat_want)
    removed = [key for key in change.missing if replaces]
    entries: dict[str, Any] = {}
    for part in ("planning", "place", "travel", "bench", "names"):
        table = dict(own.get(part, {}))
        for key, value in want.get(part, {}).items():
            if have[part].get(key) != value:
                table[key] = value
        for name in removed:
            if name.startswith(f"{part} "):
                table.pop(name.removeprefix(f"{part} "), None)
        if table != own.get(part, {}):
            entries[part] = table
    entries |= {key: value for key, value in want.get("site", {}).items() if have["site"].get(key) != value}
    return (change_files(files, {SITE: entries}) if entries else files), change


def _flat(parts: Mapping[str, Entry]) -> dict[str, Any]:
    return {f"{part} {key}": value for part, table in parts.items() for key, value in table.items()}


def untaken(site: Site, old: Site, tables: Tables) -> list[Finding]:
    """An error for every entry of the tables that the new site does not say as they do."""
    found = []
    for said, have, before, filled in (
        (tables.tests, directory_entries(site.tests), directory_entries(old.tests), filled_directory),
        (tables.tubes, stock_entries(site), stock_entries(old), filled_stock),
    ):
        for key, entry in (filled(said, before) if said is not None else {}).items():
            # A kind without a mark is given one when the site is read.
            now = have.get(key, {}) if "mark" in entry else _unmarked(have.get(key, {}))
            fields = [field for field in dict.fromkeys((*entry, *now)) if now.get(field) != entry.get(field)]
            if fields and said is not None:
                found.append(_untaken(said, key, fields))
    return found


def _unmarked(entry: Entry) -> Entry:
    return {field: value for field, value in entry.items() if field != "mark"}


def _untaken(entries: Entries, key: str, fields: list[str]) -> Finding:
    place = entries.places.get((key, ""), "")
    return Finding(
        level="error",
        file=entries.file,
        entry=f"{place} ([{key}])".strip(),
        found=f"{', '.join(fields)} that the site's files cannot say beside what they have",
        expected="an entry that reads back as it was written",
        remedy="give it a key of its own, or change the site's file by hand",
    )

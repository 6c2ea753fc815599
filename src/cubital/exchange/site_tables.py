"""A site out to a file of another program and back: which of the formats it is, and the tables that are in it."""

from __future__ import annotations

import datetime
from typing import Literal, NamedTuple, get_args

from cubital.errors import ExchangeError
from cubital.exchange import directory_sheet, policy_sheet, stock_sheet
from cubital.exchange.archive import open_archive
from cubital.exchange.fhir_specimen_definition import write_definitions
from cubital.exchange.fhir_specimen_reading import read_definitions
from cubital.exchange.site_csv import read_csv, read_csv_archive, write_archive, write_csv
from cubital.exchange.site_files import read_site_tables, tables_of
from cubital.exchange.site_patch import TableChange, Tables, patch_site, untaken
from cubital.exchange.site_sheet import FIRST_COLUMNS, Entries, Sheet, count_entries, table_of
from cubital.exchange.site_xlsx import About, read_xlsx, write_xlsx
from cubital.exchange.xlsx_guard import MOST_MEMBERS, MOST_UNPACKED
from cubital.facts import edition
from cubital.model import Finding, Site
from cubital.model.site_version import SiteFiles

FormatKey = Literal["csv", "tests.csv", "tubes.csv", "policy.csv", "xlsx", "fhir"]
FORMATS: tuple[FormatKey, ...] = get_args(FormatKey)


def write_site(site: Site, kind: str, *, on: datetime.date, cautions: tuple[str, ...]) -> bytes:
    """The site as a file of this format; "csv" is an archive of its three tables."""
    if kind not in FORMATS:
        raise ExchangeError(f"found {kind[:40]!r}; expected one of {', '.join(FORMATS)}", where="format")
    if kind == "xlsx":
        return write_xlsx(site, About(site.name, edition(), on, cautions))
    if kind == "fhir":
        return write_definitions(site, cautions=cautions)
    if kind == "csv":
        return write_archive({f"{name}.csv": _write_table(site, name) for name in FIRST_COLUMNS.values()})
    return _write_table(site, kind.removesuffix(".csv"))


def _write_table(site: Site, name: str) -> bytes:
    if name == "tests":
        return write_csv(directory_sheet.directory_columns(site.tests), directory_sheet.directory_rows(site.tests))
    if name == "tubes":
        return write_csv(stock_sheet.COLUMNS, stock_sheet.stock_rows(site.kinds))
    return write_csv(policy_sheet.COLUMNS, policy_sheet.policy_rows(site))


def read_site_file(data: bytes, site: Site, *, where: str, findings: list[Finding]) -> Tables:
    """The tables in this file, whichever of the formats it is; every fault of them becomes a finding.

    Resources of FHIR that are not our own are read for the tests and tubes of this site.

    Raises `ExchangeError` where it is none of them, or is not safe to open.
    """
    if data.startswith(b"PK"):
        archive = open_archive(data, where=where, most_members=MOST_MEMBERS, most_bytes=MOST_UNPACKED)
        with archive:
            is_workbook = "[Content_Types].xml" in archive.namelist()
        if is_workbook:
            return _tables_of(list(read_xlsx(data, where=where, findings=findings).values()), where, findings)
        return _tables_of(list(read_csv_archive(data, where=where).values()), where, findings)
    if data.removeprefix(b"\xef\xbb\xbf").lstrip()[:1] == b"{":
        return Tables(tests=read_definitions(data, site, where=where, findings=findings))
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        raise ExchangeError("found an old or locked workbook; expected .xlsx; save it as .xlsx", where=where)
    return _tables_of([read_csv(data, where=where)], where, findings)


class PatchedSite(NamedTuple):
    """What tables that came in make of a site; `site` is None where an error stops it."""

    files: dict[str, str]
    site: Site | None
    findings: tuple[Finding, ...]
    changes: tuple[TableChange, ...]
    unread: tuple[str, ...]


def patch_with_file(
    data: bytes, files: SiteFiles, site: Site, *, name: str, where: str, replaces: bool
) -> PatchedSite:
    """The files of this site with the tables of a file laid over them, and every finding on the way.

    Where the tables themselves have errors, the files are left as they are.
    """
    findings: list[Finding] = []
    tables = read_site_file(data, site, where=where, findings=findings)
    unread = tuple(f"{read.file}: {column}" for read in tables if read is not None for column in read.unread)
    if any(one.level == "error" for one in findings):
        return PatchedSite(dict(files), None, tuple(findings), (), unread)
    patch = patch_site(files, site, tables, replaces=replaces)
    read = read_site_tables(tables_of(patch.files, findings=findings), name=name)
    told = {(one.entry.partition(" (")[2].removesuffix(")"), one.found) for one in findings}
    findings += [one for one in read.findings if (one.entry, one.found) not in told]
    if read.site is not None and not any(one.level == "error" for one in findings):
        findings += untaken(read.site, site, tables)
    is_sound = not any(one.level == "error" for one in findings)
    return PatchedSite(patch.files, read.site if is_sound else None, tuple(findings), patch.changes, unread)


def _tables_of(sheets: list[Sheet], where: str, findings: list[Finding]) -> Tables:
    found: dict[str, Entries] = {}
    for sheet in sheets:
        name = table_of(sheet.columns, where=sheet.file)
        if name in found:
            raise ExchangeError(f"found two tables of {name}; expected one; remove one", where=where)
        count_entries(sheet)
        found[name] = _READERS[name](sheet, findings=findings)
    return Tables(found.get("tests"), found.get("tubes"), found.get("policy"))


_READERS = {
    "tests": directory_sheet.read_directory_sheet,
    "tubes": stock_sheet.read_stock_sheet,
    "policy": policy_sheet.read_policy_sheet,
}

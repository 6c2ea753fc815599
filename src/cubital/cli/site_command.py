"""`cubital site new`, `check`, `export` and `import`."""

from __future__ import annotations

from pathlib import Path

import click

from cubital.cli import site_tables, wording
from cubital.cli.complaint import REFUSED, complain, document, write_json
from cubital.cli.findings import count_findings, finding_lines


@click.group()
def site() -> None:
    """Start a site's folder, check one, or move it out and in as tables."""


@site.command()
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
def new(folder: Path) -> int:
    """Write a starter site: three commented files, everything in them invented."""
    from cubital.app.site_folder import new_site
    from cubital.errors import CubitalError

    try:
        written = new_site(folder)
    except CubitalError as error:
        complain(error)
        return REFUSED
    for path in written:
        print(f"wrote {path}")
    print(f"next: change them to your own, then: cubital site check {folder}")
    return 0


@site.command()
@click.argument("folder", metavar="[DIR]", type=click.Path(path_type=Path), default=".")
@click.option("--all", "is_all", is_flag=True, help="Tell each finding, also where many are alike.")
@wording.as_json
def check(folder: Path, is_all: bool, as_json: bool) -> int:
    """Say everything that is wrong with a site, in one run.

    DIR is the site's folder; else this one. Warnings of one kind stand together where they are many; every error is
    told. Exit status 2 where it cannot be used.
    """
    from cubital.app.site_folder import check_site
    from cubital.errors import CubitalError

    try:
        found = check_site(folder)
    except CubitalError as error:
        complain(error)
        if as_json:
            write_json(document(error))
        return REFUSED
    if as_json:
        write_json(
            {
                "format": "cubital.site-check/1", "usable": found.is_usable, "site": found.name,
                "kinds": found.kinds, "tests": found.tests, "panels": found.panels,
                "findings": [{f: getattr(finding, f) for f in finding.__struct_fields__} for finding in found.findings],
            }
        )  # fmt: skip
        return 0 if found.is_usable else REFUSED
    for line in finding_lines(found.findings, is_all=is_all):
        print(line)
    findings = count_findings(found.findings, is_all=is_all)
    if found.is_usable:
        print(f"{found.name}: {found.kinds} tube kinds, {found.tests} tests, {found.panels} panels; {findings}")
        return 0
    print(f"{folder}: cannot be used; {findings}")
    return REFUSED


@site.command()
@click.argument("folder", metavar="[DIR]", type=click.Path(path_type=Path), default=".")
@click.option("--to", "target", metavar="FILE", required=True, help="The file to write; - is stdout.")
@click.option("--as", "kind", metavar="FORMAT", default=None, help="Else by the name of FILE; a wrong one lists them.")
@click.option("--demo", is_flag=True, help="The invented demo site instead of DIR.")
@wording.as_json
def export(folder: Path, target: str, kind: str | None, demo: bool, as_json: bool) -> int:
    """Write a site as tables for other programs.

    By the name of FILE: .xlsx a workbook; tests.csv, tubes.csv or policy.csv one table; .zip all three as CSV; .json
    the tests as FHIR R4 SpecimenDefinition. No cell is taken for a formula.
    """
    from cubital.app.site_exchange import export_site, format_of, left_out
    from cubital.app.wiring import open_site, write_bytes
    from cubital.errors import CubitalError

    try:
        of_site = open_site(None if demo else folder, demo=demo)
        chosen = kind or format_of(target)
        data = export_site(of_site, chosen)
        write_bytes(target, data)
    except CubitalError as error:
        complain(error)
        if as_json:
            write_json(document(error))
        return REFUSED
    said = {
        "format": "cubital.site-export/1", "site": of_site.name, "as": chosen, "to": target, "bytes": len(data),
        "left_out": list(left_out(chosen)),
    }  # fmt: skip
    if as_json and target != "-":
        write_json(said)
    elif target != "-":
        print(f"wrote {target}: {of_site.name}, {len(of_site.tests)} tests, {len(of_site.kinds)} tube kinds")
        print(f"not in it: {', '.join(left_out(chosen))}")
    return 0


@site.command("import")
@click.argument("file", metavar="FILE")
@click.argument("folder", metavar="[DIR]", type=click.Path(path_type=Path), default=".")
@click.option("--replace", is_flag=True, help="Take out what the tables do not have.")
@click.option("--try", "is_trial", is_flag=True, help="Only say what would change.")
@wording.as_json
def import_(file: str, folder: Path, replace: bool, is_trial: bool, as_json: bool) -> int:
    """Take tables into a site: all of them or, where an error stops it, none.

    FILE is a workbook, a CSV, an archive of CSVs or FHIR as `export` writes them; - is stdin. DIR is the site's folder;
    else this one. The files as they were are kept beside the new ones.
    """
    import sys

    from cubital.app.site_exchange import import_into_folder
    from cubital.app.wiring import read_bytes
    from cubital.errors import CubitalError

    where = "stdin" if file == "-" else Path(file).name
    try:
        data = read_bytes(file, stdin=sys.stdin.buffer)
        found = import_into_folder(data, folder, where=where, replace=replace, is_trial=is_trial)
    except CubitalError as error:
        complain(error)
        if as_json:
            write_json(document(error))
        return REFUSED
    if as_json:
        write_json(site_tables.import_document(found, is_written=found.is_changing and not is_trial))
    else:
        for line in site_tables.import_lines(found, folder=str(folder), is_trial=is_trial):
            print(line)
    return 0 if found.is_usable else REFUSED

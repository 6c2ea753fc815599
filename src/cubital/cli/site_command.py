"""`cubital site new` and `cubital site check`."""

from __future__ import annotations

from pathlib import Path

import click

from cubital.cli import wording
from cubital.cli.complaint import REFUSED, complain, document, write_json


@click.group()
def site() -> None:
    """Start a site's folder, or check one."""


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
@wording.as_json
def check(folder: Path, as_json: bool) -> int:
    """Say everything that is wrong with a site, in one run.

    DIR is the site's folder; else this one. Exit status 2 where it cannot be used.
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
    for finding in found.findings:
        print(f"{finding.level}: {finding}")
    count = len(found.findings)
    findings = f"{count or 'no'} finding{'' if count == 1 else 's'}"
    if found.is_usable:
        print(f"{found.name}: {found.kinds} tube kinds, {found.tests} tests, {found.panels} panels; {findings}")
        return 0
    print(f"{folder}: cannot be used; {findings}")
    return REFUSED

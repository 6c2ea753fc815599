"""Sites out of folders, files and tables, and back into them."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cubital.app.wiring.libraries import needing
from cubital.errors import SiteError
from cubital.model import Site

if TYPE_CHECKING:
    from cubital.exchange.site_tables import PatchedSite
    from cubital.model import Finding
    from cubital.model.site_version import SiteFiles


def demo_folder() -> Path:
    """The folder of the demo site, an invented small hospital."""
    from cubital.exchange.demo_folder import demo_folder

    return demo_folder()


def starter_files() -> tuple[Path, ...]:
    """The files of the starter site, which `site new` copies."""
    from cubital.facts.reading import DATA

    return tuple(sorted((DATA / "starter").glob("*.toml")))


def open_site(folder: Path | str | None = None, *, demo: bool = False) -> Site:
    """The site in this folder; the invented demo site; or the shipped defaults.

    Raises `SiteError` with every finding of the folder.

    >>> open_site(demo=True).name
    'Quillmere Hospital (invented)'
    """
    from cubital.exchange.site_folder import read_site

    if demo:
        return read_site(demo_folder())
    return read_site(None if folder is None else Path(folder))


def read_findings(folder: Path) -> tuple[Site | None, frozenset[str], tuple[Finding, ...]]:
    """The sound entries of this folder as a site, the tube kinds that are not sound, and what reading it found."""
    from cubital.exchange.site_folder import read_as_far_as_sound

    return read_as_far_as_sound(folder)


def site_files(folder: Path | str | None = None, *, demo: bool = False) -> tuple[str, dict[str, str]]:
    """The name of a site's folder and the texts of its files; neither for the shipped defaults."""
    from cubital.exchange.site_files import read_folder_files

    if not demo and folder is None:
        return "", {}
    chosen = demo_folder() if demo else Path(folder or "")
    return chosen.absolute().name, read_folder_files(chosen)


def tables_of(files: SiteFiles) -> dict[str, dict[str, Any]]:
    """The tables in the texts of a site's files; raises `SiteError` where one is no TOML."""
    from cubital.exchange import site_files

    findings: list[Finding] = []
    tables = site_files.tables_of(files, findings=findings)
    if findings:
        raise SiteError(str(findings[0]), where="site", findings=[str(one) for one in findings])
    return tables


def read_site_tables(
    tables: Mapping[str, Mapping[str, Any]], *, name: str, kept: dict[Any, Any] | None = None
) -> tuple[Site | None, frozenset[str], tuple[Finding, ...]]:
    """The sound entries of these tables as a site, the tube kinds that are not sound, and what reading them found.

    `kept`, empty at first, holds what was read before: entries that are the same objects are not read again.
    """
    from cubital.exchange import site_files

    return site_files.read_site_tables(tables, name=name, kept=kept)


def change_files(files: SiteFiles, changes: Mapping[str, Mapping[str, Any | None]]) -> dict[str, str]:
    """The texts of a site's files with these entries of each file changed; None takes an entry out."""
    from cubital.exchange import site_files

    return site_files.change_files(files, changes)


def zip_site(files: SiteFiles, *, folder: str) -> bytes:
    """One archive of a folder with these files."""
    from cubital.exchange import site_files

    return site_files.zip_files(files, folder=folder)


def site_formats() -> tuple[str, ...]:
    """The formats in which a site goes out to other programs."""
    from cubital.exchange.site_tables import FORMATS

    return FORMATS


def write_site_file(site: Site, kind: str, *, on: datetime.date, cautions: tuple[str, ...]) -> bytes:
    """The site as a file of this format; raises `MissingLibrary` where a workbook's library is not installed."""
    from cubital.exchange.site_tables import write_site

    with needing("a workbook", "web"):
        return write_site(site, kind, on=on, cautions=cautions)


def patch_site_files(
    data: bytes, files: SiteFiles, site: Site, *, name: str, where: str, replaces: bool
) -> PatchedSite:
    """What the tables in this file make of a site's files; `site` is what the files say now."""
    from cubital.exchange.site_tables import patch_with_file

    with needing("a workbook", "web"):
        return patch_with_file(data, files, site, name=name, where=where, replaces=replaces)

"""A site as the texts of its files: out of a folder, to tables and a site, changed, and into one archive."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from cubital.errors import SiteError
from cubital.exchange.directory_table import KeptTests
from cubital.exchange.site_folder import FILES, TUBES, PartlyRead, read_tables
from cubital.exchange.toml_file import parse_toml
from cubital.exchange.toml_text import change_entries
from cubital.model import Finding
from cubital.model.site_version import SiteFiles

SiteTables = Mapping[str, Mapping[str, Any]]
# The earliest day that an archive can state: the same files then make the same archive.
_DAY = (1980, 1, 1, 0, 0, 0)


def read_folder_files(folder: Path) -> dict[str, str]:
    """The texts of the files of a site's folder, those that are there; raises `SiteError` where one cannot be read."""
    texts = {}
    for name in FILES:
        path = folder / name
        if not path.is_file():
            continue
        try:
            texts[name] = path.read_text(encoding="utf-8-sig")
        except (OSError, UnicodeDecodeError):
            raise SiteError("found a file that cannot be read; expected UTF-8 text; see `cubital site check`",
                            where=str(path)) from None  # fmt: skip
    return texts


def tables_of(files: SiteFiles, *, findings: list[Finding]) -> dict[str, dict[str, Any]]:
    """The tables in these texts, numbers exact; a text that is no TOML becomes a finding and is left out."""
    tables = {}
    for name in FILES:
        if name in files:
            table = parse_toml(files[name].encode(), path=Path(name), findings=findings)
            if table is not None:
                tables[name] = table
    return tables


def read_site_tables(tables: SiteTables, *, name: str, kept: KeptTests | None = None) -> PartlyRead:
    """The sound entries of these tables and every finding; `name` is the site's where its policy states none.

    `kept` holds entries that were read before: those that are the same objects are not read again.
    """
    site, findings = read_tables(tables, folder=name, kept=kept)
    lost = frozenset(key for key in tables.get(TUBES, {}) if key not in site.kinds and key != "include")
    return PartlyRead(site, lost, findings)


def change_files(files: SiteFiles, changes: Mapping[str, Mapping[str, Any | None]]) -> dict[str, str]:
    """The texts with these entries of each file changed; None takes an entry out."""
    changed = dict(files)
    for file, entries in changes.items():
        if entries:
            changed[file] = change_entries(changed.get(file, ""), entries)
    return changed


def zip_files(files: SiteFiles, *, folder: str) -> bytes:
    """A zip archive of one folder with these files; the same files make the same bytes."""
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in sorted(files):
            info = zipfile.ZipInfo(f"{folder}/{name}", _DAY)
            info.external_attr = 0o644 << 16
            archive.writestr(info, files[name].encode(), zipfile.ZIP_DEFLATED)
    return held.getvalue()

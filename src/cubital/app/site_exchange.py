"""A site out to tables of other programs and back: looked over whole before anything is changed."""

from __future__ import annotations

import datetime
import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path

import msgspec

from cubital import facts
from cubital.app.clock import today as read_today
from cubital.app.site_changes import lost_panels
from cubital.app.site_folder import look_over
from cubital.app.wiring import (
    patch_site_files,
    read_site_tables,
    site_files,
    site_formats,
    tables_of,
    write_site_file,
)
from cubital.errors import ExchangeError, SiteError
from cubital.model import Finding, Site
from cubital.model.site_version import SiteFiles

_NEVER_IN = ("panels", "centrifuges", "where each value comes from")
_POLICY, _STOCK, _TESTS = "the policy", "the tube stock (sizes, counts, expiry, dead volumes)", "the tests"
_LEFT_OUT = {
    "tests.csv": (_STOCK, _POLICY),
    "tubes.csv": (_TESTS, _POLICY),
    "policy.csv": (_TESTS, _STOCK),
    "fhir": (_STOCK, _POLICY),
}


class TableChange(msgspec.Struct, frozen=True, kw_only=True):
    """What a table does to one file of a site, by the key of the entry.

    `missing` are entries of the site that the table does not have; they stay unless `removed`.
    """

    file: str
    added: tuple[str, ...]
    changed: tuple[str, ...]
    missing: tuple[str, ...]
    is_removing: bool


class SiteImport(msgspec.Struct, frozen=True, kw_only=True):
    """What tables would make of a site; `site` is None, and `files` are as they were, where an error stops it.

    `findings` are those of the tables, and those of the new site that the old one did not have, gravest first.
    `unread` names the columns and fields that nothing reads.
    """

    files: Mapping[str, str]
    site: Site | None
    findings: tuple[Finding, ...]
    changes: tuple[TableChange, ...]
    unread: tuple[str, ...]

    @property
    def is_usable(self) -> bool:
        """Whether no error stops it."""
        return self.site is not None

    @property
    def is_changing(self) -> bool:
        """Whether the site would say anything else than before."""
        return any(c.added or c.changed or (c.missing and c.is_removing) for c in self.changes)


def export_site(site: Site, kind: str, *, today: datetime.date | None = None) -> bytes:
    """The site as a file of this format: one of `wiring.site_formats()`.

    >>> from cubital.app.wiring import open_site
    >>> export_site(open_site(demo=True), "tubes.csv").startswith(b"\\xef\\xbb\\xbfkind,name,mark,additive")
    True
    """
    return write_site_file(site, kind, on=today or read_today(), cautions=_cautions())


def format_of(name: str) -> str:
    """The format that a file of this name is written in; raises `ExchangeError` where the name does not say.

    >>> [format_of(name) for name in ("ours.xlsx", "out/tests.csv", "ours.zip")]
    ['xlsx', 'tests.csv', 'csv']
    """
    path = Path(name)
    known = {".xlsx": "xlsx", ".zip": "csv", ".json": "fhir"}
    found = known.get(path.suffix.lower()) or next(
        (kind for kind in site_formats() if path.name.lower().endswith(kind) and "." in kind), None
    )
    if found is None:
        expected = "a name that ends in .xlsx, .zip, .json, tests.csv, tubes.csv or policy.csv, or --as"
        raise ExchangeError(f"found {path.name[:60]!r}; expected {expected}", where="--to")
    return found


def left_out(kind: str) -> tuple[str, ...]:
    """What of a site this format does not hold.

    >>> left_out("fhir")[0]
    'the tube stock (sizes, counts, expiry, dead volumes)'
    """
    return (*_LEFT_OUT.get(kind, ()), *_NEVER_IN)


def _cautions() -> tuple[str, ...]:
    return tuple(one.text for one in facts.safety().values() if one.when == "always")


def import_site(
    data: bytes, *, onto: SiteFiles, name: str, where: str, replace: bool = False, today: datetime.date | None = None
) -> SiteImport:
    """What the tables in this file would make of the site with these files; nothing is written.

    An entry that the tables do not have stays, unless they `replace`. Raises `ExchangeError` where the file is no
    table of a site or is not safe to open, and `SiteError` where the site has errors of its own.
    """
    day = today or read_today()
    old, _, told = read_site_tables(tables_of(onto), name=name)
    errors = [str(one) for one in told if one.level == "error"]
    if old is None or errors:
        raise SiteError(
            f"found errors in the site that is there: {errors[0] if errors else name}; expected one that can be used; "
            "see `cubital site check`",
            where=name, findings=errors,
        )  # fmt: skip
    found = patch_site_files(data, onto, old, name=name, where=where, replaces=replace)
    known = set(look_over(old, frozenset(), told, today=day))
    lint = look_over(found.site, frozenset(), (), today=day)
    gone = () if found.site is None else lost_panels(old, found.site)
    findings = tuple(one for one in (*found.findings, *lint, *gone) if one not in known)
    is_sound = found.site is not None and not any(f.level == "error" for f in findings)
    return SiteImport(
        files=found.files if is_sound else dict(onto),
        site=found.site if is_sound else None,
        findings=look_over(None, frozenset(), findings, today=day),
        changes=tuple(
            TableChange(
                file=c.file, added=c.added, changed=c.changed, missing=c.missing, is_removing=replace and is_sound
            )
            for c in found.changes
        ),
        unread=found.unread,
    )


def import_into_folder(
    data: bytes, folder: Path, *, where: str, replace: bool = False, is_trial: bool = False,
    today: datetime.date | None = None,
) -> SiteImport:  # fmt: skip
    """Lay these tables over the site of a folder: all of them or, where an error stops it, none.

    The files as they were are kept beside the new ones, with `.before` at the end of the name. Raises as
    `import_site` does.
    """
    if not folder.is_dir():
        found = "a file" if folder.exists() else "no such folder"
        raise SiteError(f"found {found}; expected the folder of a site; see `cubital site new`", where=str(folder))
    name, files = site_files(folder)
    brought = import_site(data, onto=files, name=name, where=where, replace=replace, today=today)
    if brought.is_usable and not is_trial:
        _write(folder, files, brought.files)
    return brought


def _write(folder: Path, old: SiteFiles, new: SiteFiles) -> None:
    """Write the files that differ: first all beside the folder's own, then each into its place."""
    fresh = [name for name, text in new.items() if old.get(name) != text]
    if not fresh:
        return
    try:
        beside = Path(tempfile.mkdtemp(prefix=".import-", dir=folder))
    except OSError as error:
        raise _unwritable(folder, error) from None
    try:
        for name in fresh:
            (beside / name).write_text(new[name], encoding="utf-8")
        for name in fresh:
            if (folder / name).exists():
                shutil.copy2(folder / name, folder / f"{name}.before")
                shutil.copymode(folder / name, beside / name)
        for name in fresh:
            (beside / name).replace(folder / name)
    except OSError as error:
        raise _unwritable(folder, error) from None
    finally:
        shutil.rmtree(beside, ignore_errors=True)


def _unwritable(folder: Path, error: OSError) -> SiteError:
    return SiteError(f"found {error.strerror or error}; expected a folder that can be written", where=str(folder))

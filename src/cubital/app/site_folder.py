"""Making a site's folder and looking one over."""

from __future__ import annotations

import datetime
import shutil
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from cubital.app.clock import today as read_today
from cubital.app.wiring import open_site, read_findings, starter_files
from cubital.errors import SiteError
from cubital.model import Finding, Site

if TYPE_CHECKING:
    from cubital.planning.lint import KeptLint


class SiteCheck(msgspec.Struct, frozen=True, kw_only=True):
    """What a look at a site's folder found: gravest first; `name` is None where it cannot be used."""

    name: str | None
    kinds: int
    tests: int
    panels: int
    findings: tuple[Finding, ...]

    @property
    def is_usable(self) -> bool:
        """Whether no finding stops the site."""
        return self.name is not None


def check_site(folder: Path, *, today: datetime.date | None = None) -> SiteCheck:
    """Every finding about this folder in one run: of its files, and of what no plan could use."""
    from cubital.planning.own_keys import find_own_keys
    from cubital.planning.sizes import find_expired

    today = today or read_today()
    site, lost_kinds, findings = read_findings(folder)
    findings = look_over(site, lost_kinds, findings, today=today)
    if site is not None:
        findings += (*find_expired(site.kinds, today), *find_own_keys(site, open_site()))
    if site is None or any(f.level == "error" for f in findings):
        return SiteCheck(name=None, kinds=0, tests=0, panels=0, findings=findings)
    return SiteCheck(
        name=site.name,
        kinds=len(site.kinds),
        tests=len(site.tests),
        panels=len(site.panels),
        findings=findings,
    )


def look_over(
    site: Site | None, lost_kinds: frozenset[str], findings: tuple[Finding, ...], *, today: datetime.date,
    kept: KeptLint | None = None,
) -> tuple[Finding, ...]:  # fmt: skip
    """What reading a site found, and what no plan could use of its sound entries, gravest first.

    What only follows from an error told already is left out. `kept` is what was found in tests before.
    """
    from cubital.planning.lint import lint

    if site is not None:
        errors = [f for f in findings if f.level == "error"]
        told = lint(site, on=today, kept=kept)
        findings = (*findings, *(f for f in told if not _follows(f, errors, site, lost_kinds)))
    return _gravest_first(findings)


def _follows(found: Finding, errors: list[Finding], site: Site, lost_kinds: frozenset[str]) -> bool:
    """Whether this finding may only follow from an error told already: from a kind or a rule that was not read."""
    if found.file == "tests.toml":
        test = site.tests.get(found.entry.removeprefix("[").split("]")[0])
        return test is not None and any(kind in lost_kinds for way in test.accepts for kind in way.tubes)
    has_policy = not any(error.file == "site.toml" for error in errors)
    return not has_policy or (bool(lost_kinds) and found.file == "site.toml")


def _gravest_first(findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    levels = ("error", "warning", "note")
    return tuple(sorted(dict.fromkeys(findings), key=lambda f: levels.index(f.level)))


def new_site(folder: Path) -> tuple[Path, ...]:
    """Write a starter site into this folder, which must be new or empty; all its files or none.

    Raises `SiteError` where the folder holds anything or cannot be written.
    """
    where = str(folder)
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        found = "a folder that is not empty" if folder.is_dir() else "a file"
        raise SiteError(f"found {found}; expected a new or empty folder; name another", where=where)
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        beside = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
    except OSError as error:
        raise _unwritable(where, error) from None
    try:
        for source in starter_files():
            shutil.copyfile(source, beside / source.name)
        beside.chmod(0o755)
        if folder.exists():
            folder.rmdir()
        beside.rename(folder)
    except OSError as error:
        shutil.rmtree(beside, ignore_errors=True)
        raise _unwritable(where, error) from None
    return tuple(folder / source.name for source in starter_files())


def _unwritable(where: str, error: OSError) -> SiteError:
    return SiteError(f"found {error.strerror or error}; expected a folder that can be written", where=where)

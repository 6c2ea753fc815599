"""A site's folder: three to five TOML files to one Site, or every fault of them in one run."""

from __future__ import annotations

import functools
from collections.abc import Container, Mapping
from pathlib import Path
from typing import Any, NamedTuple

import msgspec

from cubital import facts
from cubital.errors import SiteError
from cubital.exchange.centrifuge_table import read_centrifuges
from cubital.exchange.directory_table import (
    KeptTests,
    find_clashes,
    read_panels,
    read_tests,
)
from cubital.exchange.panel_members import look_at_members, members
from cubital.exchange.policy_table import UTC, Policy, read_policy, refuse_unknown_words
from cubital.exchange.stock_table import read_stock, with_marks
from cubital.exchange.table import is_text, near_misses, show
from cubital.exchange.toml_file import read_toml
from cubital.facts.directory import HANDLING
from cubital.model import Finding, Panel, Planning, Site, Test, TubeKind
from cubital.model.finding import LevelKey
from cubital.planning.spellings import fold

SITE, TUBES, TESTS, PANELS, CENTRIFUGES = FILES = (
    "site.toml", "tubes.toml", "tests.toml", "panels.toml", "centrifuges.toml",
)  # fmt: skip
SHIPPED_NAME = "shipped defaults"
_SHIPPED = "shipped "
# Which marks of a test go with which of its keys; every handling term goes with `handling`.
CLAIMS = {
    "codes": ("codes",),
    "accepts": ("accepts", "volume"),
    "timed": ("timed",),
    "rank": ("rank",),
    "caution": ("handling",),
    "culture": ("culture",),
}


def read_site(folder: Path | None = None) -> Site:
    """The site in this folder, or the shipped one; raises `SiteError` with every finding of one run.

    A file that is there is the whole truth of its kind; one that is absent is the shipped one.
    Findings about a test that a tube cannot serve are not looked for here: see `planning.lint`.
    """
    if folder is None:
        return _shipped_site()
    site, findings = read_site_with_findings(folder)
    if site is None:
        errors = [str(f) for f in findings if f.level == "error"]
        more = f" (and {len(errors) - 1} more)" if len(errors) > 1 else ""
        raise SiteError(errors[0] + more, where=str(folder), findings=[str(f) for f in findings])
    return site


@functools.cache
def _shipped_site() -> Site:
    site, findings = read_tables({})
    if any(f.level == "error" for f in findings):
        raise SiteError(str(findings[0]), where="shipped facts", findings=[str(f) for f in findings])
    return site


def read_site_with_findings(folder: Path | None = None) -> tuple[Site | None, tuple[Finding, ...]]:
    """The site in this folder and every finding; the site is None where a finding is an error."""
    if folder is None:
        return _shipped_site(), ()
    read = read_as_far_as_sound(folder)
    return (None if any(f.level == "error" for f in read.findings) else read.site), read.findings


class PartlyRead(NamedTuple):
    """What of a folder could be read: the site of its sound entries, and the tube kinds that are not among them.

    `site` is None where a whole file could not be read. It is for looking on, never for planning.
    """

    site: Site | None
    lost_kinds: frozenset[str]
    findings: tuple[Finding, ...]


def read_as_far_as_sound(folder: Path) -> PartlyRead:
    """The sound entries of this folder and every finding of its files, so that one run can find the rest."""
    findings: list[Finding] = []
    if not folder.is_dir():
        found = "a file" if folder.exists() else "no such folder"
        return PartlyRead(None, frozenset(), (_folder_finding(folder, found),))
    tables: dict[str, dict[str, Any]] = {}
    try:
        paths = sorted(folder.iterdir())
    except OSError as error:
        said = error.strerror or "a folder that cannot be opened"
        return PartlyRead(None, frozenset(), (_folder_finding(folder, said),))
    for path in paths:
        if path.name in FILES:
            table = read_toml(path, findings=findings)
            if table is not None:
                tables[path.name] = table
        elif path.suffix == ".toml":
            findings.append(_stray_finding(path))
    if not tables and not findings:
        findings.append(_folder_finding(folder, "a folder without any of its files", level="warning"))
    are_all_read = not any(f.level == "error" and f.file in FILES for f in findings)
    site, more = read_tables(tables, cross_check=are_all_read, folder=folder.absolute().name)
    findings += more
    lost = frozenset(key for key in tables.get(TUBES, {}) if key not in site.kinds and key != "include")
    return PartlyRead(site if are_all_read else None, lost, tuple(findings))


def _folder_finding(folder: Path, found: str, *, level: LevelKey = "error") -> Finding:
    return Finding(
        level=level,
        file=show(folder.name)[1:-1] or "folder",
        entry="",
        found=found,
        expected=f"a folder with {SITE}, {TUBES} or {TESTS}",
        remedy="name the site's folder",
    )


def _stray_finding(path: Path) -> Finding:
    near = near_misses(path.name, FILES)
    return Finding(
        level="error" if near else "warning",
        file=show(path.name)[1:-1],
        entry="",
        found="a file that nothing reads",
        expected="one of " + ", ".join(FILES),
        remedy=f"rename it {near[0]}" if near else "take it out",
    )


def read_tables(
    tables: Mapping[str, Mapping[str, Any]], *, cross_check: bool = True, folder: str = "",
    kept: KeptTests | None = None,
) -> tuple[Site, tuple[Finding, ...]]:  # fmt: skip
    """The site of the sound entries of these tables; without `cross_check`, each table is looked at on its own.

    `kept` as `read_tests` takes it.
    """
    findings: list[Finding] = []
    policy = _read_policy(tables.get(SITE), findings, folder=folder if tables and is_text(folder) else "")
    kinds = _read_kinds(tables.get(TUBES), findings)
    tests = _read_all_tests(tables.get(TESTS), findings, kept)
    panels = _read_all_panels(
        tables.get(PANELS), tests, findings, is_yielding=TESTS in tables, cross_check=cross_check,
        written=tables.get(TESTS, {}),
    )  # fmt: skip
    centrifuges = read_centrifuges(tables.get(CENTRIFUGES, {}), file=CENTRIFUGES, findings=findings)
    if cross_check:
        findings += _cross_findings(tables, policy, kinds, tests, panels)
    replaced = TESTS in tables and not _includes_shipped(tables[TESTS])
    site = Site(
        name=policy.name,
        time_zone=policy.time_zone,
        kinds=_with_words(kinds, policy),
        tests=tests,
        panels=panels,
        planning=policy.planning,
        bench_policy=policy.bench,
        names=policy.names,
        centrifuges=centrifuges,
        ambiguous=_read_ambiguous(tests, panels, replaced=replaced),
        limits=policy.limits,
    )
    return site, tuple(findings)


def _cross_findings(
    tables: Mapping[str, Mapping[str, Any]],
    policy: Policy,
    kinds: Mapping[str, TubeKind],
    tests: Mapping[str, Test],
    panels: Mapping[str, Panel],
) -> list[Finding]:
    """What one file says of another: names that clash, words for what is not there."""
    files = {
        "tests": TESTS if TESTS in tables else _SHIPPED + TESTS,
        "panels": PANELS if PANELS in tables else _SHIPPED + PANELS,
    }
    benches = {t.bench for t in tests.values()}
    return [
        *find_clashes(tests, panels, files=files),
        *refuse_unknown_words(
            policy.stoppers, kinds, file=SITE, header="[stoppers]", what="the key of a tube kind of this site"
        ),
        *refuse_unknown_words(
            policy.names,
            (*kinds, *tests, *panels, *benches),
            file=SITE,
            header="[names]",
            what="a tube kind, test, panel or bench of this site",
        ),
    ]


def _yielding(panels: Mapping[str, Panel], tests: Mapping[str, Test]) -> dict[str, Panel]:
    """Shipped panels without the names and codes that a test of the site claims: the site goes first."""
    names = {fold(n) for t in tests.values() for n in (t.key, t.name, *t.also)}
    codes = {(system, code.casefold()) for t in tests.values() for system, code in t.codes.items()}
    kept = {}
    for key, panel in panels.items():
        if fold(key) in names or fold(panel.name) in names:
            continue
        kept[key] = msgspec.structs.replace(
            panel,
            also=tuple(n for n in panel.also if fold(n) not in names),
            codes={s: c for s, c in panel.codes.items() if (s, c.casefold()) not in codes},
        )
    return kept


def _includes_shipped(table: Mapping[str, Any]) -> bool:
    return table.get("include") == "shipped"


def _take_include(table: Mapping[str, Any], file: str, findings: list[Finding]) -> tuple[dict[str, Any], bool]:
    """The entries of a file without its `include`, and whether it adds to the shipped ones."""
    entries = {k: v for k, v in table.items() if k != "include"}
    if "include" in table and not _includes_shipped(table):
        findings.append(
            Finding(
                level="error",
                file=file,
                entry="include",
                found=show(table["include"]),
                expected='"shipped"',
                remedy='write include = "shipped", or take it out to replace the shipped file',
            )
        )
    return entries, "include" in table


def _overlaid(entries: Mapping[str, Any], shipped: Mapping[str, Any]) -> dict[str, Any]:
    """Shipped entries with the site's over them, key by key: what an entry leaves out stays as shipped."""
    whole = dict(shipped)
    for key, entry in entries.items():
        both = isinstance(entry, dict) and key in shipped
        whole[key] = {**shipped[key], **_changed_marks(entry, shipped[key]), **entry} if both else entry
    return whole


def _changed_marks(entry: Mapping[str, Any], shipped: Mapping[str, Any]) -> dict[str, Any]:
    """The shipped marks, but for what the site says itself: that rests on the site."""
    changed = {claim for key in entry for claim in CLAIMS.get(key, ("handling",) if key in HANDLING else ())}
    marks = {claim: ["site", "site"] if claim in changed else mark for claim, mark in shipped["from"].items()}
    return {"from": {**marks, **{claim: ["site", "site"] for claim in changed}}}


def _read_policy(table: Mapping[str, Any] | None, findings: list[Finding], *, folder: str) -> Policy:
    shipped = _shipped_policy()
    if table is None:
        return Policy(
            name=folder or SHIPPED_NAME, time_zone=UTC, planning=shipped.planning, bench=shipped.bench, stoppers={},
            names={},
        )  # fmt: skip
    planning = table.get("planning")
    asked = planning if isinstance(planning, dict) else {}
    return read_policy(
        table,
        file=SITE,
        findings=findings,
        policies=facts.order_policies() if "order_of_draw" in asked else (),
        limits=facts.sampling_limits() if "blood_limit" in asked or "limits" in table else (),
        shipped=shipped.planning,
        shipped_bench=shipped.bench,
        default_name=folder or "site",
    )


def _shipped_policy() -> Policy:
    findings: list[Finding] = []
    table = facts.site_table()
    policy = read_policy(
        table,
        file=_SHIPPED + SITE,
        findings=findings,
        policies=(table["planning"]["order_of_draw"],),
        limits=(table["planning"]["blood_limit"],),
        shipped=Planning(),
        default_name=SHIPPED_NAME,
    )
    if findings:
        raise SiteError(str(findings[0]), findings=[str(f) for f in findings])
    return policy


def _read_kinds(table: Mapping[str, Any] | None, findings: list[Finding]) -> dict[str, TubeKind]:
    shipped = facts.tube_table()
    if table is None:
        kinds = read_stock(shipped, file=_SHIPPED + TUBES, findings=findings, shipped={}, is_site=False)
        return with_marks(kinds, file=_SHIPPED + TUBES, findings=findings)
    entries, adds = _take_include(table, TUBES, findings)
    rest = {k: v for k, v in shipped.items() if k not in entries} if adds else {}
    kinds = read_stock(rest, file=_SHIPPED + TUBES, findings=findings, shipped={}, is_site=False)
    own = read_stock(entries, file=TUBES, findings=findings, shipped=shipped, is_site=True)
    return with_marks({**kinds, **own}, file=TUBES, findings=findings)


def _read_all_tests(
    table: Mapping[str, Any] | None, findings: list[Finding], kept: KeptTests | None
) -> dict[str, Test]:
    if table is None:
        return read_tests(facts.tests_table(), file=_SHIPPED + TESTS, findings=findings, handling=HANDLING, kept=kept)
    entries, adds = _take_include(table, TESTS, findings)
    if adds:
        entries = _overlaid(entries, facts.tests_table())
    return read_tests(entries, file=TESTS, findings=findings, handling=HANDLING, kept=kept)


def _read_all_panels(
    table: Mapping[str, Any] | None,
    tests: Mapping[str, Test],
    findings: list[Finding],
    *,
    is_yielding: bool,
    cross_check: bool,
    written: Container[str],
) -> dict[str, Panel]:
    own: dict[str, Panel] = {}
    adds = table is None
    if table is not None:
        entries, adds = _take_include(table, PANELS, findings)
        whole = {k: _overlaid_panel(e, facts.panels_table().get(k)) for k, e in entries.items()}
        own = read_panels(whole if adds else entries, file=PANELS, findings=findings)
        findings += look_at_members(own, tests, written=written, file=PANELS) if cross_check else ()
    if not adds:
        return own
    shipped = read_panels(facts.panels_table(), file=_SHIPPED + PANELS, findings=findings)
    kept = {k: p for k, p in shipped.items() if all(t in tests for t in members(p))}
    if table is not None and cross_check:
        findings.extend(_dropped_finding(k) for k in shipped if k not in kept and k not in own)
    return {**(_yielding(kept, tests) if is_yielding else kept), **own}


def _overlaid_panel(entry: Any, shipped: Mapping[str, Any] | None) -> Any:
    """A panel of the site over the shipped one of its key; its own tests or series replace all that says what it is."""
    if not isinstance(entry, dict) or shipped is None:
        return entry
    replaced = ("tests", "series", "anchor", "of") if "tests" in entry or "series" in entry else ()
    return {**{k: v for k, v in shipped.items() if k not in replaced}, **entry}


def _dropped_finding(panel: str) -> Finding:
    return Finding(
        level="note",
        file=PANELS,
        entry="include",
        found=f"the shipped panel [{panel}]",
        expected="every test of it at this site",
        remedy="it is left out; add its tests to have it",
    )


def _with_words(kinds: Mapping[str, TubeKind], policy: Policy) -> dict[str, TubeKind]:
    worded = {}
    for key, kind in kinds.items():
        stopper = policy.stoppers.get(key, kind.stopper)
        name = policy.names.get(key, kind.name)
        changed = stopper != kind.stopper or name != kind.name
        worded[key] = msgspec.structs.replace(kind, stopper=stopper, name=name) if changed else kind
    return worded


def _read_ambiguous(
    tests: Mapping[str, Test], panels: Mapping[str, Panel], *, replaced: bool
) -> dict[str, tuple[str, ...]]:
    """The names that stand for several of this site's tests, but for those that one entry claims itself."""
    records: list[Test | Panel] = [*tests.values(), *panels.values()]
    claimed = {fold(name) for record in records for name in (record.key, record.name, *record.also)}
    ambiguous = {}
    for name, choices in facts.ambiguous().items():
        known = tuple(c for c in choices if c in tests or c in panels)
        if fold(name) not in claimed and len(known) >= (2 if replaced else 1):
            ambiguous[name] = known
    return ambiguous

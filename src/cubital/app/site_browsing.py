"""A site to browse: its tests, panels and tube kinds as rows, each with where its values come from."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from datetime import date, timedelta

import msgspec

from cubital import facts
from cubital.app.explanation import basis_words
from cubital.app.site_edition import Edition
from cubital.app.site_kind_form import own_kind
from cubital.app.site_panel_form import own_panel, shipped_panel
from cubital.app.site_policy_form import BENCH, PLANNING, TRAVEL, own_policy
from cubital.app.site_test_form import own_test, shipped_test
from cubital.facts.directory import HANDLING
from cubital.model import Finding, Panel, Test, TubeKind
from cubital.planning.directory import Directory
from cubital.planning.sizes import is_usable
from cubital.units import millilitres_text

OURS = "this site's own file"
NOT_SAID = "not said"
SHIPPED, CHANGED, OWN = "shipped", "changed here", "of this site"
SOON = timedelta(days=60)
"""A lot that ends within so many days is said to end soon: common practice, no source."""
_CLAIMS = {
    "codes": ("codes",), "accepts": ("accepts", "volume"), "own_tube": ("accepts",), "timed": ("timed",),
    "moment": ("timed",),
    "rank": ("rank",),
    "caution": ("handling",), "culture": ("culture",),
}  # fmt: skip
_MEMBERS = ("tests", "series", "anchor", "of")
_LEVELS = ("error", "warning", "note")


class TestRow(msgspec.Struct, frozen=True, kw_only=True):
    """One test or panel of the list. `tubes` are marks and names of the kinds it goes into, preferred first."""

    __test__ = False  # pytest: a row of the list, not a test of ours

    key: str
    name: str
    also: tuple[str, ...]
    bench: str
    tubes: tuple[tuple[str, str], ...]
    amount: str
    is_panel: bool
    origin: str
    level: str


class TestList(msgspec.Struct, frozen=True, kw_only=True):
    """The rows of one look at the directory, and how many there are in all."""

    __test__ = False  # pytest: as above

    rows: tuple[TestRow, ...]
    count: int
    start: int


class SizeRow(msgspec.Struct, frozen=True, kw_only=True):
    """One stock size: how much it draws, how many there are, until when, and a word where that is a matter."""

    draw: str
    in_stock: int | None
    expires: date | None
    matter: str


class KindRow(msgspec.Struct, frozen=True, kw_only=True):
    """One tube kind of the list; `tests` is how many tests may go into it."""

    kind: TubeKind
    additive: str
    sizes: tuple[SizeRow, ...]
    tests: int
    origin: str
    level: str


def browse_tests(
    edition: Edition, directory: Directory, *, text: str = "", bench: str = "", tube: str = "",
    findings: Iterable[Finding] = (), start: int = 0, most: int = 100,
) -> TestList:  # fmt: skip
    """The tests and panels that the text may mean, best first; all of them by name where nothing is asked."""
    levels = levels_of(findings)
    records = [one for one in _found(edition, directory, text) if _is_asked(one, bench, tube)]
    rows = tuple(_test_row(edition, one, levels) for one in records[start : start + most])
    return TestList(rows=rows, count=len(records), start=start)


def _found(edition: Edition, directory: Directory, text: str) -> list[Test | Panel]:
    site = edition.site
    if text.strip():
        hits = directory.search(text, len(site.tests) + len(site.panels))
        return [site.tests[hit.key] if hit.kind == "test" else site.panels[hit.key] for hit in hits]
    records: list[Test | Panel] = [*site.tests.values(), *site.panels.values()]
    return sorted(records, key=lambda one: one.name.casefold())


def _is_asked(record: Test | Panel, bench: str, tube: str) -> bool:
    if isinstance(record, Panel):
        return not bench and not tube
    return (not bench or record.bench == bench) and (not tube or any(tube in accept.tubes for accept in record.accepts))


def _test_row(edition: Edition, record: Test | Panel, levels: Mapping[tuple[str, str], str]) -> TestRow:
    if isinstance(record, Panel):
        amount = f"{len(record.tests)} tests" if record.tests else f"{len(record.series)} draws"
        return TestRow(
            key=record.key, name=record.name, also=record.also, bench="panel", tubes=(), amount=amount, is_panel=True,
            origin=_origin(own_panel(edition, record.key), shipped_panel(edition, record.key)),
            level=levels.get(("panels.toml", record.key), ""),
        )  # fmt: skip
    kinds = edition.site.kinds
    tubes = dict.fromkeys(tube for accept in record.accepts for tube in accept.tubes if tube in kinds)
    first = record.accepts[0] if record.accepts else None
    amount = f"{millilitres_text(first.volume_ul)} mL {first.matrix.replace('-', ' ')}" if first else "culture"
    return TestRow(
        key=record.key, name=record.name, also=record.also, bench=record.bench, amount=amount, is_panel=False,
        tubes=tuple((kinds[tube].mark, kinds[tube].name) for tube in tubes),
        origin=_origin(own_test(edition, record.key), shipped_test(edition, record.key)),
        level=levels.get(("tests.toml", record.key), ""),
    )  # fmt: skip


def _origin(own: object, shipped: object) -> str:
    if own is None:
        return SHIPPED
    return OWN if shipped is None else CHANGED


def browse_kinds(edition: Edition, *, findings: Iterable[Finding] = (), today: date) -> tuple[KindRow, ...]:
    """Every tube kind in the order of the site's file."""
    levels = levels_of(findings)
    return tuple(
        KindRow(
            kind=kind,
            additive=facts.additives()[kind.additive].name,
            sizes=tuple(size_rows(kind, today)),
            tests=sum(any(kind.key in a.tubes for a in test.accepts) for test in edition.site.tests.values()),
            origin=_origin(own_kind(edition, kind.key), facts.tube_table().get(kind.key)),
            level=levels.get(("tubes.toml", kind.key), ""),
        )
        for kind in edition.site.kinds.values()
    )


def size_rows(kind: TubeKind, today: date) -> Iterator[SizeRow]:
    """The sizes of a kind, each with what is the matter with its stock."""
    for size in kind.sizes:
        matter = ""
        if not is_usable(size, today):
            matter = "none left" if size.in_stock == 0 else "expired"
        elif size.expires is not None and size.expires - today <= SOON:
            matter = "ends soon"
        yield SizeRow(draw=millilitres_text(size.draw_ul), in_stock=size.in_stock, expires=size.expires, matter=matter)


def levels_of(findings: Iterable[Finding]) -> dict[tuple[str, str], str]:
    """The gravest level of the findings of each entry, by file and key."""
    levels: dict[tuple[str, str], str] = {}
    for one in findings:
        if one.entry.startswith("["):
            place = (one.file, one.entry[1:].partition("]")[0])
            levels[place] = min(levels.get(place, "note"), one.level, key=_LEVELS.index)
    return levels


def marks_of_test(edition: Edition, key: str) -> dict[str, str]:
    """Where each field of a test comes from, in words."""
    own, shipped = own_test(edition, key) or {}, shipped_test(edition, key)
    basis = edition.site.tests[key].basis
    marks = {}
    for field in ("name", "also", "bench", *_CLAIMS, *HANDLING):
        claims = _CLAIMS.get(field, ("handling",) if field in HANDLING else ())
        told = [basis_words(*_split(basis[claim])) for claim in claims if claim in basis]
        if shipped is None or field in own:
            marks[field] = OURS
        else:
            marks[field] = "; ".join(dict.fromkeys(told)) if told else "common practice, no source"
    return marks


def marks_of_kind(edition: Edition, key: str) -> dict[str, str]:
    """Where each field of a tube kind comes from, in words."""
    own, shipped = own_kind(edition, key) or {}, facts.tube_table().get(key, {})
    mark = shipped.get("from")
    told = OURS if mark is None else basis_words(mark["basis"], (mark["source"],))
    policy = edition.tables.get("site.toml", {})
    fields = ("name", "additive", "gel", "sizes", "dead_volume_ul", "stopper", "mark", "use", "material", "accesses",
              "fill_min_percent", "inversions")  # fmt: skip
    marks = {field: OURS if field in own else told if field in shipped else NOT_SAID for field in fields}
    for field, section in (("stopper", "stoppers"), ("name", "names")):
        if key in policy.get(section, {}):
            marks[field] = OURS
    return {**marks, "place": OURS if key in policy.get("place", {}) else "the order of draw"}


def marks_of_panel(edition: Edition, key: str) -> dict[str, str]:
    """Where each field of a panel comes from, in words."""
    own, shipped = own_panel(edition, key) or {}, shipped_panel(edition, key)
    basis = edition.site.panels[key].basis
    marks = {}
    for field in ("name", "also", "codes", *_MEMBERS):
        claim = basis.get("codes" if field == "codes" else "tests")
        if shipped is None or field in own or (field in _MEMBERS and any(one in own for one in _MEMBERS)):
            marks[field] = OURS
        elif field in ("name", "also") or claim is None:
            marks[field] = "common practice, no source"
        else:
            marks[field] = basis_words(*_split(claim))
    return marks


def marks_of_policy(edition: Edition) -> dict[str, str]:
    """Where each field of the policy comes from, in words."""
    own, shipped = own_policy(edition), facts.site_marks()
    marks = {field: OURS if field in own else NOT_SAID for field in ("name", "time_zone", TRAVEL)}
    for field in (*PLANNING, *BENCH):
        marks[field] = OURS if field in own else shipped[field].label() if field in shipped else NOT_SAID
    return marks


def _split(claim: tuple[str, str]) -> tuple[str, tuple[str, ...]]:
    return claim[0], (claim[1],)

"""What is kept between two looks at a site changes no finding: as one types, the lint is the one of a fresh reading."""

from __future__ import annotations

import copy
import datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from cubital.app.site_changes import lost_panels
from cubital.app.site_editing import SiteVersions
from cubital.app.site_folder import look_over
from cubital.app.wiring import demo_folder, open_site_versions, read_site_tables, site_files, tables_of, upgrade_store

DAY = datetime.date(2026, 11, 25)
KEYS = ("potassium", "glucose", "vitamin-d", "prothrombin-time", "house-research-serum", "quite-new", "Potassium")
KINDS = ("citrate", "heparin-gel", "serum-gel", "quite-new-kind")
# True equals 1 and 1 equals Decimal(1): each reads otherwise.
ODD: st.SearchStrategy[Any] = st.sampled_from(
    [1, True, Decimal(1), Decimal("1.0"), "1", False, 0, None, [], {}, "chemistry", -3, 20, 90_000]
)
ACCEPTS = st.lists(
    st.fixed_dictionaries(
        {"matrix": st.sampled_from(["plasma", "serum", "sweat"]), "tubes": st.sampled_from([["serum-gel"], ["edtaa"]])},
        optional={"volume_ul": ODD, "minimum_ul": ODD},
    ),
    max_size=2,
)
ENTRY = st.fixed_dictionaries(
    {},
    optional={
        "bench": ODD, "name": ODD, "also": st.sampled_from([["K"], ["sodium"], [1], True]), "accepts": ACCEPTS,
        "own_tube": ODD, "ice": ODD, "timed": ODD, "codes": st.sampled_from([{"loinc": "2823-4"}, {"loinc": "2951-2"}]),
    },
)  # fmt: skip
SIZES = st.lists(
    st.fixed_dictionaries(
        {"draw_ml": st.sampled_from([Decimal("1.8"), Decimal("0.2"), 1800])},
        optional={"in_stock": st.sampled_from([0, 5, True]), "expires": st.just(datetime.date(2020, 1, 1))},
    ),
    max_size=2,
)
KIND = st.fixed_dictionaries({"additive": st.sampled_from(["none", "citrate-9-1", "jam"]), "sizes": SIZES})
PLANNING = st.fixed_dictionaries({}, optional={"recovery": ODD, "hematocrit": st.sampled_from([Decimal("0.45"), 45])})
CHANGE = st.one_of(
    st.tuples(st.just("tests.toml"), st.sampled_from(KEYS), st.none() | ENTRY | ODD),
    st.tuples(st.just("tubes.toml"), st.sampled_from(KINDS), st.none() | KIND),
    st.tuples(st.just("site.toml"), st.just("planning"), st.none() | PLANNING),
    st.tuples(st.just("panels.toml"), st.just("house"), st.just({"tests": ["potassium", "quite-new"]})),
    st.tuples(st.just("tests.toml"), st.just("include"), st.sampled_from([None, "shipped"])),
)


def fresh(versions: SiteVersions, tables: dict[str, Any]) -> tuple[object, object]:
    """The site and its findings, nothing kept: every entry another object than the one that was read before."""
    site, lost, read = read_site_tables(copy.deepcopy(tables), name=versions.folder)
    gone = () if site is None else lost_panels(versions.newest().site, site)
    findings = look_over(site, lost, (*read, *gone), today=DAY)
    return None if any(one.level == "error" for one in findings) else site, findings


@settings(max_examples=60, deadline=None)
@given(steps=st.lists(CHANGE, min_size=1, max_size=6))
def test_the_lint_as_one_types_is_the_lint_of_a_fresh_reading(
    tmp_path_factory: Any, steps: list[tuple[str, str, Any]]
) -> None:
    versions = shared(tmp_path_factory)
    base = versions.newest()
    for file, key, value in steps:
        proposal = versions.propose(base, {file: {key: value}}, today=DAY)
        if proposal.changes:
            assert (proposal.site, proposal.findings) == fresh(versions, dict(proposal.tables))
    # All of them together, as a table that came in would have it.
    changes: dict[str, dict[str, Any]] = {}
    for file, key, value in steps:
        changes.setdefault(file, {})[key] = value
    proposal = versions.propose(base, changes, today=DAY)
    if proposal.changes:
        assert (proposal.site, proposal.findings) == fresh(versions, dict(proposal.tables))


_SHARED: list[SiteVersions] = []


def shared(tmp_path_factory: Any) -> SiteVersions:
    """One set of versions for all examples, so that much is kept from the one to the next."""
    if not _SHARED:
        path = str(tmp_path_factory.mktemp("versions") / "r.db")
        upgrade_store(path)
        _SHARED.append(open_site_versions(path, demo=True))
    return _SHARED[0]


def test_another_day_is_looked_at_anew(tmp_path_factory: Any) -> None:
    versions = shared(tmp_path_factory)
    sizes = [{"draw_ml": Decimal("1.8"), "expires": datetime.date(2026, 12, 1)}]
    change = {"tubes.toml": {"citrate": {"additive": "citrate-9-1", "sizes": sizes}}}
    before, after = (
        versions.propose(versions.newest(), change, today=DAY + datetime.timedelta(days=days)).findings
        for days in (0, 30)
    )
    assert not any("no lot that may be used" in str(one) for one in before)
    assert any("no lot that may be used" in str(one) for one in after)
    assert any("[prothrombin-time] accepts" in str(one) for one in after)


def test_the_files_of_a_site_are_read_as_their_tables(tmp_path: Path) -> None:
    name, files = site_files(demo_folder())
    kept: dict[Any, Any] = {}
    tables = tables_of(files)
    first = read_site_tables(tables, name=name, kept=kept)
    assert read_site_tables(tables, name=name, kept=kept) == first == read_site_tables(tables, name=name)
    # What is no entry any more is not kept for ever.
    read_site_tables({**tables, "tests.toml": {"a": {"bench": "b"}}}, name=name, kept=kept)
    assert [key for file, key in kept if file == "tests.toml"] == ["a"]

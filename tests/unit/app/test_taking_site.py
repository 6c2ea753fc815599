"""Which version of the site a draw in hand was planned on, and what is said once another one is in force."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from msgspec.structs import replace

from cubital.app.draws import plan_order
from cubital.app.site_editing import SiteVersions
from cubital.app.taking_site import moved_on, planned_on, site_of_draw
from cubital.app.wiring import open_site_versions, order_of_words, upgrade_store
from cubital.model.taking import Taking
from tests.contract.events import MORNING, Clock

EDTA = "edta"


@pytest.fixture
def sites(tmp_path: Path) -> Iterator[SiteVersions]:
    """The demo site with nothing saved."""
    path = str(tmp_path / "record.db")
    upgrade_store(path)
    found = open_site_versions(path, demo=True, now=Clock(MORNING))
    yield found
    found.close()


def save(sites: SiteVersions, base: int, turns: int) -> None:
    kind = sites.newest().tables["tubes.toml"][EDTA]
    sites.save("supervisor", base, {"tubes.toml": {EDTA: {**kind, "inversions": turns}}}, "other turns")


def taking(sites: SiteVersions, number: int | None) -> Taking:
    order = order_of_words({"tests": ["CBC"]}, where="test")
    plan = plan_order(order, sites.newest().site)
    return Taking(code="AAAAAA", made_at=MORNING, made_by="ann", order=order, plan=plan, site_version=number)


def test_a_draw_of_the_version_in_force_says_its_number_and_no_caution(sites: SiteVersions) -> None:
    draw = taking(sites, 0)
    assert (planned_on(draw), moved_on(draw, sites.newest())) == ("the site's folder, no version kept", "")
    save(sites, 0, 9)
    draw = taking(sites, 1)
    assert (planned_on(draw), moved_on(draw, sites.newest())) == ("version 1 of the site", "")


def test_a_draw_of_an_older_version_says_both_numbers_and_since_when(sites: SiteVersions) -> None:
    draw = taking(sites, 0)
    save(sites, 0, 9)
    said = moved_on(draw, sites.newest())
    assert said.startswith("planned on the site's folder, no version kept; version 1 of the site is in force since 20")
    assert said.endswith("; plan again, or check each tube before you fill it")
    draw = taking(sites, 1)
    save(sites, 1, 8)
    assert moved_on(draw, sites.newest()).startswith("planned on version 1 of the site; version 2 of the site is in")
    sites.restore("supervisor", 2, 1, "back")
    assert "version 3 of the site, which brings back version 1, is in force" in moved_on(draw, sites.newest())


def test_a_draw_of_which_nothing_was_kept_says_so(sites: SiteVersions) -> None:
    draw = taking(sites, None)
    assert planned_on(draw) == "a version of the site that was not kept"
    assert moved_on(draw, None) == ""
    assert moved_on(draw, sites.newest()) == ""
    save(sites, 0, 9)
    assert moved_on(draw, sites.newest()).startswith("planned on a version of the site that was not kept; version 1")


def test_a_draw_of_a_version_is_told_where_only_the_folder_is_in_force(sites: SiteVersions) -> None:
    draw = taking(sites, 3)
    assert "the site's folder is in force" in moved_on(draw, sites.newest())
    assert "the site's folder is in force" in moved_on(draw, None)


def test_the_site_of_a_draw_is_that_of_its_version(sites: SiteVersions) -> None:
    first = sites.newest().site
    save(sites, 0, 9)
    newest = sites.newest().site
    assert newest.kinds[EDTA] != first.kinds[EDTA]
    assert site_of_draw(taking(sites, 0), sites, newest).kinds[EDTA] == first.kinds[EDTA]
    assert site_of_draw(taking(sites, 1), sites, newest) is newest
    for number in (None, 77):
        assert site_of_draw(taking(sites, number), sites, newest) is newest
    assert site_of_draw(taking(sites, 0), None, first) is first


def test_the_hour_is_that_of_the_site_s_own_clocks(sites: SiteVersions) -> None:
    save(sites, 0, 9)
    edition = sites.newest()
    elsewhere = replace(edition, site=replace(edition.site, time_zone="Asia/Tokyo"))
    assert "in force since 2026-03-02 16:00; plan again" in moved_on(taking(sites, 0), elsewhere)

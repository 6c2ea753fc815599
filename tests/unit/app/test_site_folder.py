"""Starting a site's folder and looking one over."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest

from cubital.app.draws import plan_order
from cubital.app.site_folder import check_site, new_site
from cubital.app.wiring import demo_folder, open_site
from cubital.errors import SiteError
from cubital.model import Ask, Order

DAY = datetime.date(2026, 11, 25)


def test_a_new_site_is_free_of_findings_and_plans(tmp_path: Path) -> None:
    written = new_site(tmp_path / "a" / "ours")
    assert [path.name for path in written] == ["site.toml", "tests.toml", "tubes.toml"]
    found = check_site(tmp_path / "a" / "ours", today=DAY)
    assert found.findings == ()
    plan = plan_order(Order(asks=(Ask(test="EXST"), Ask(test="K"))), open_site(tmp_path / "a" / "ours"), today=DAY)
    assert {test for tube in plan.tubes for test in tube.tests} == {"example-serum-test", "potassium"}


def test_every_starter_file_says_that_it_is_invented(tmp_path: Path) -> None:
    assert all("invented" in path.read_text() for path in new_site(tmp_path / "ours"))


def test_an_empty_folder_is_filled_and_a_full_one_is_left_alone(tmp_path: Path) -> None:
    folder = tmp_path / "ours"
    folder.mkdir()
    new_site(folder)
    before = (folder / "site.toml").read_bytes()
    (folder / "tests.toml").unlink()
    with pytest.raises(SiteError, match="not empty"):
        new_site(folder)
    assert (folder / "site.toml").read_bytes() == before
    assert not (folder / "tests.toml").exists()


def test_a_file_in_the_folders_place_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "ours"
    path.write_text("mine")
    with pytest.raises(SiteError, match="found a file"):
        new_site(path)
    with pytest.raises(SiteError, match="expected a folder that can be written"):
        new_site(path / "below")
    assert path.read_text() == "mine"
    assert [p.name for p in tmp_path.iterdir()] == ["ours"]


def test_the_demo_site_is_free_of_findings() -> None:
    found = check_site(demo_folder(), today=DAY)
    assert (found.is_usable, found.findings) == (True, ())


def test_a_check_looks_at_what_has_expired_by_the_day_given() -> None:
    found = check_site(demo_folder(), today=datetime.date(2040, 1, 1))
    assert found.is_usable
    assert any("2040-01-01" in str(finding) for finding in found.findings)


def test_a_check_gives_every_finding_gravest_first(tmp_path: Path) -> None:
    (tmp_path / "tubes.toml").write_text(
        '[edta]\nadditive = "k2-edta"\nsizes = [{draw_ml = 4000}]\n[citrate]\nadditive = "citrat"\nsizes = []\n'
    )
    (tmp_path / "site.toml").write_text('[planning]\nobjetive = "fewest-tubes"\n')
    found = check_site(tmp_path)
    assert not found.is_usable
    errors = [str(f) for f in found.findings if f.level == "error"]
    assert len(errors) >= 4
    for said in ("draw_ml", "citrat", "sizes", "objetive"):
        assert any(said in text for text in errors), said
    levels = [("error", "warning", "note").index(f.level) for f in found.findings]
    assert levels == sorted(levels)

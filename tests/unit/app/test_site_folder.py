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


def test_the_demo_site_is_free_of_faults_and_its_one_lot_past_its_day_is_noted() -> None:
    found = check_site(demo_folder(), today=DAY)
    assert found.is_usable
    assert [(f.level, f.entry) for f in found.findings] == [("note", "[citrate] sizes[2].expires")]


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


FAULTY = {
    "site": '[planning]\norder_of_draw = "clsi-gp41"\n',
    "tubes": """
[edta]
additive = "k2-edta"
sizes = [{draw_ml = 2.0, in_stok = 3}]
[broken]
additive = "magic"
sizes = [{draw_ml = 2.0}]
[trace-plain]
additive = "none"
use = "trace-element"
sizes = [{draw_ml = 2.0}]
""",
    "tests": """
[count]
bench = "b"
accepts = [{matrix = "whole-blood", tubes = ["edta"], volume_ul = 5000}]
[unserved]
bench = "b"
accepts = [{matrix = "serum", tubes = ["serum-gel"], volume_ul = 100}]
[of-the-broken]
bench = "b"
accepts = [{matrix = "serum", tubes = ["broken"], volume_ul = 100}]
""",
}


def faulty(folder: Path, **files: str) -> list[tuple[str, str, str]]:
    for name, text in {**FAULTY, **files}.items():
        (folder / f"{name}.toml").write_text(text)
    found = check_site(folder, today=DAY)
    assert not found.is_usable
    return [(f.level, f.file, f.entry) for f in found.findings]


def test_one_run_finds_errors_and_what_no_plan_could_use_but_not_what_only_follows(
    tmp_path: Path,
) -> None:
    assert faulty(tmp_path) == [
        ("error", "tubes.toml", "[edta] sizes[0].in_stok"),
        ("error", "tubes.toml", "[broken] additive"),
        ("warning", "tubes.toml", "[trace-plain]"),
        ("warning", "tests.toml", "[count] accepts[0].minimum_ul"),
        ("warning", "tests.toml", "[unserved] accepts"),
    ]


def test_an_order_of_draw_that_was_not_read_places_nothing_and_blames_nothing(tmp_path: Path) -> None:
    found = faulty(tmp_path, site='[planning]\norder_of_draw = "clsi"\n')
    assert ("error", "site.toml", "[planning] order_of_draw") in found
    assert ("warning", "tubes.toml", "[trace-plain]") not in found


def test_a_file_that_is_not_toml_is_told_alone(tmp_path: Path) -> None:
    assert faulty(tmp_path, tests="[a b]") == [
        ("error", "tests.toml", "line 1"),
        ("error", "tubes.toml", "[edta] sizes[0].in_stok"),
        ("error", "tubes.toml", "[broken] additive"),
    ]

"""Versions of a site, alike in SQLite and PostgreSQL: saved once, never changed, and the newest one is used."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from decimal import Decimal
from pathlib import Path

import pytest
from sqlalchemy.exc import DBAPIError

from cubital.app.record_care import check_record
from cubital.app.site_editing import SiteVersions
from cubital.app.wiring import open_site, open_site_versions, open_store
from cubital.errors import BrokenChain, OtherDraft, SiteError, StaleSite
from cubital.model.site_version import LoggedOrder
from tests.contract import hands
from tests.contract.events import MORNING, Clock

TUBES = """# Our shelf (invented).
include = "shipped"

# Counted every Monday.
[citrate]
additive = "citrate-9-1"
sizes = [{draw_ml = 2.7, liquid_additive_ul = 300, in_stock = 40}]

# The rest of the shelf.
[edta]
additive = "k2-edta"
sizes = [{draw_ml = 3.0}]
"""
FEWER = {
    "tubes.toml": {
        "citrate": {
            "additive": "citrate-9-1",
            "sizes": [{"draw_ml": Decimal("2.7"), "liquid_additive_ul": 300, "in_stock": 12}],
        }
    }
}
RENAMED = {"tests.toml": {"include": "shipped", "potassium": {"bench": "point of care"}}}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A site's folder of two files."""
    path = tmp_path / "ours"
    path.mkdir()
    (path / "site.toml").write_text('name = "Fernwick (invented)"\n')
    (path / "tubes.toml").write_text(TUBES)
    return path


@pytest.fixture
def open_versions(address: str, folder: Path, clock: Clock) -> Iterator[Callable[[], SiteVersions]]:
    """Opens what one server of this site holds."""
    opened: list[SiteVersions] = []

    def open_one() -> SiteVersions:
        opened.append(open_site_versions(address, folder, now=clock))
        return opened[-1]

    yield open_one
    for one in opened:
        one.close()


@pytest.fixture
def versions(open_versions: Callable[[], SiteVersions]) -> SiteVersions:
    """The versions of the site, none saved yet."""
    return open_versions()


def in_stock(versions: SiteVersions) -> int | None:
    return versions.newest().site.kinds["citrate"].sizes[0].in_stock


def test_with_nothing_saved_the_folder_is_what_is_used(versions: SiteVersions, folder: Path) -> None:
    newest = versions.newest()
    assert (newest.number, newest.version, newest.site) == (0, None, open_site(folder))
    assert versions.history() == ()
    assert not versions.is_folder_new()


def test_the_first_save_keeps_the_folder_as_version_0_and_touches_no_file(
    versions: SiteVersions, folder: Path, clock: Clock
) -> None:
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    saved = versions.save("ada", 0, FEWER, " Monday's  count ")
    assert (saved.number, saved.account, saved.note, saved.at) == (1, "ada", "Monday's count", MORNING)
    assert [(one.number, one.account) for one in versions.history()] == [(1, "ada"), (0, "")]
    assert versions.at(0).files == {name: data.decode() for name, data in before.items()}
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before
    assert in_stock(versions) == 12


def test_a_saved_change_leaves_every_other_line_as_it_was(versions: SiteVersions) -> None:
    versions.save("ada", 0, FEWER, "count")
    assert versions.newest().files["tubes.toml"] == TUBES.replace("in_stock = 40", "in_stock = 12")
    found = versions.changes(0, 1)
    assert [(one.file, one.entry, one.field) for one in found] == [("tubes.toml", "citrate", "sizes")]
    assert (found[0].was, found[0].now) == (
        "draw 2.7 mL, liquid additive 300 µL, in stock 40", "draw 2.7 mL, liquid additive 300 µL, in stock 12",
    )  # fmt: skip


def test_a_file_that_the_folder_does_not_have_comes_about(versions: SiteVersions) -> None:
    versions.save("ada", 0, RENAMED, "moved to the ward")
    test = versions.newest().site.tests["potassium"]
    assert (test.bench, test.name) == ("point of care", "potassium")
    assert "sodium" in versions.newest().site.tests


def test_another_server_of_the_site_uses_what_was_saved_at_once(open_versions: Callable[[], SiteVersions]) -> None:
    one, other = open_versions(), open_versions()
    assert in_stock(other) == 40
    one.save("ada", 0, FEWER, "count")
    assert in_stock(other) == 12
    assert other.newest() is other.newest()


def test_the_second_of_two_who_edit_at_once_is_told_who_was_first_and_nothing_of_hers_is_saved(
    open_versions: Callable[[], SiteVersions], clock: Clock
) -> None:
    one, other = open_versions(), open_versions()
    one.save("ada", 0, FEWER, "count")
    with pytest.raises(StaleSite, match="ada saved version 1 since; this change was made from version 0") as refused:
        other.save("ben", 0, RENAMED, "moved")
    assert (refused.value.expected, refused.value.found, refused.value.by) == (0, 1, "ada")
    assert refused.value.at == MORNING
    assert len(other.history()) == 2
    other.save("ben", 1, RENAMED, "moved")
    assert in_stock(other) == 12
    assert other.newest().site.tests["potassium"].bench == "point of care"


def test_of_many_who_save_at_the_same_moment_one_does(open_versions: Callable[[], SiteVersions]) -> None:
    stations = [open_versions() for _ in range(4)]
    said: list[str] = []
    start = threading.Barrier(len(stations))

    def save(station: SiteVersions, name: str) -> None:
        start.wait()
        try:
            station.save(name, 0, FEWER, "count")
            said.append("saved")
        except StaleSite as error:
            said.append(f"after {error.found}")

    threads = [threading.Thread(target=save, args=(one, f"who{i}")) for i, one in enumerate(stations)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert sorted(said) == ["after 1", "after 1", "after 1", "saved"]
    assert [one.number for one in stations[0].history()] == [1, 0]


def test_undo_is_a_new_version_that_brings_back_an_older_one(versions: SiteVersions, clock: Clock) -> None:
    versions.save("ada", 0, FEWER, "count")
    clock.pass_s(60)
    saved = versions.restore("ben", 1, 0, "the count was of another shelf")
    assert (saved.number, saved.restores) == (2, 0)
    assert versions.newest().files == versions.at(0).files
    assert in_stock(versions) == 40
    assert [one.number for one in versions.history()] == [2, 1, 0]
    assert [one.number for one in versions.history(most=1, before=2)] == [1]
    with pytest.raises(SiteError, match="no version 9"):
        versions.restore("ben", 2, 9, "back")
    with pytest.raises(StaleSite):
        versions.restore("ben", 1, 0, "back")


@pytest.mark.parametrize(
    ("changes", "note", "said"),
    [
        (FEWER, "  ", "found 0 letters; expected why this is saved"),
        (FEWER, "x" * 501, "found 501 letters"),
        (FEWER, "count\u202e", "expected why"),
        ({}, "nothing", "found nothing changed"),
        ({"tubes.toml": {"citrate": {"additive": "vinegar"}}}, "count", 'found "vinegar"; expected one of'),
        ({"site.toml": {"stoppers": {"edtaa": "violet"}}}, "words", "an unknown key"),
    ],
)
def test_what_cannot_be_used_is_refused_and_nothing_is_saved(
    versions: SiteVersions, changes: dict[str, dict[str, object]], note: str, said: str
) -> None:
    with pytest.raises(SiteError, match=said):
        versions.save("ada", 0, changes, note)
    assert versions.history() == ()


def test_a_proposal_shows_findings_and_changes_and_saves_nothing(versions: SiteVersions) -> None:
    found = versions.propose(versions.newest(), {"tests.toml": {"include": "shipped", "potassium": {"accepts": [
        {"matrix": "plasma", "tubes": ["heparin-gell"], "volume_ul": 20}]}}})  # fmt: skip
    assert found.site is not None
    assert {one.entry for one in found.fresh} == {"[potassium] accepts[0].tubes[0]", "[potassium] accepts"}
    assert "write heparin-gel" in {one.remedy for one in found.fresh}
    assert {one.entry for one in found.changes} == {"include", "potassium"}
    assert versions.history() == ()
    broken = versions.propose(versions.newest(), {"tubes.toml": {"citrate": {"additive": "vinegar"}}})
    assert broken.site is None


@pytest.mark.parametrize("table", ["site_version", "site_file"])
def test_a_version_cannot_be_changed_or_removed(versions: SiteVersions, address: str, table: str) -> None:
    versions.save("ada", 0, FEWER, "count")
    changed = "note = 'nothing'" if table == "site_version" else "body = ''"
    for statement in (f"UPDATE {table} SET {changed}", f"DELETE FROM {table}"):
        with pytest.raises(DBAPIError, match="only added to"):
            hands.run(address, statement, is_guarded=True)


def test_a_file_changed_past_the_guards_is_noticed(open_versions: Callable[[], SiteVersions], address: str) -> None:
    open_versions().save("ada", 0, FEWER, "count")
    hands.run(address, "UPDATE site_file SET body = replace(body, 'in_stock = 12', 'in_stock = 99')")
    store = open_store(address)
    faults = check_record(store).faults
    store.close()
    assert any("found another text than was saved" in one for one in faults)
    assert any("found no tubes.toml as it was saved" in one for one in faults)
    with pytest.raises(BrokenChain, match="found another text than was saved"):
        open_versions().newest()


def test_the_versions_of_two_sites_in_one_database_are_apart(
    versions: SiteVersions, address: str, clock: Clock
) -> None:
    versions.save("ada", 0, FEWER, "count")
    demo = open_site_versions(address, demo=True, now=clock)
    assert demo.newest().number == 0
    assert demo.history() == ()
    demo.close()


def test_a_folder_changed_by_hand_is_noticed_until_it_is_taken_in(
    open_versions: Callable[[], SiteVersions], folder: Path
) -> None:
    open_versions().save("ada", 0, FEWER, "count")
    (folder / "tubes.toml").write_text(TUBES.replace("in_stock = 40", "in_stock = 77"))
    later = open_versions()
    assert later.is_folder_new()
    assert in_stock(later) == 12
    later.save_files("ada", 1, later.folder_files(), "the folder again")
    assert in_stock(later) == 77
    assert not later.is_folder_new()


def test_a_draft_is_kept_for_its_account_until_it_is_dropped(versions: SiteVersions, clock: Clock) -> None:
    versions.keep_draft("ada", 0, {"site.toml": 'name = "Other"\n'}, origin="list.csv")
    versions.keep_draft("ada", 0, {"site.toml": 'name = "Another"\n'}, origin="list.xlsx")
    found = versions.draft("ada")
    assert found is not None
    assert (found.origin, found.files, found.made_at) == ("list.xlsx", {"site.toml": 'name = "Another"\n'}, MORNING)
    assert versions.draft("ben") is None
    versions.drop_draft("ada", found.digest)
    assert versions.draft("ada") is None


def test_only_the_draft_that_was_shown_is_saved_or_dropped(versions: SiteVersions) -> None:
    files = versions.newest().files
    versions.keep_draft("ada", 0, {**files, "tubes.toml": TUBES.replace("in_stock = 40", "in_stock = 7")}, origin="a")
    shown = versions.draft("ada")
    versions.keep_draft("ada", 0, {**files, "tubes.toml": TUBES.replace("in_stock = 40", "in_stock = 9")}, origin="b")
    other = versions.draft("ada")
    assert shown is not None
    assert other is not None
    for settle in (versions.need_draft, versions.drop_draft, lambda who, what: versions.save_draft(who, what, "n")):
        with pytest.raises(OtherDraft, match="found b, brought in at 0"):
            settle("ada", shown.digest)
    assert versions.draft("ada") == other
    assert versions.save_draft("ada", other.digest, "").note == "brought in b"
    assert in_stock(versions) == 9
    with pytest.raises(SiteError, match="found nothing that was brought in"):
        versions.save_draft("ada", other.digest, "again")


def test_a_draft_that_cannot_be_saved_is_kept(versions: SiteVersions) -> None:
    versions.keep_draft("ada", 0, {"site.toml": "name = 7\n"}, origin="list.csv")
    found = versions.draft("ada")
    assert found is not None
    with pytest.raises(SiteError):
        versions.save_draft("ada", found.digest, "n")
    assert versions.draft("ada") == found


def test_logged_orders_take_the_place_of_older_ones(versions: SiteVersions) -> None:
    orders = (LoggedOrder(body='{"tests":["K"]}', times=3), LoggedOrder(body='{"tests":["PT"]}', times=1))
    versions.keep_orders(orders)
    assert versions.orders() == orders
    versions.keep_orders(orders[1:])
    assert versions.orders() == orders[1:]
    versions.keep_orders(())
    assert versions.orders() == ()


def test_a_version_goes_out_as_a_folder_that_the_commands_read(versions: SiteVersions, tmp_path: Path) -> None:
    import io
    import zipfile

    versions.save("ada", 0, FEWER, "count")
    data = versions.archive(1)
    assert data == versions.archive(1)
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        archive.extractall(tmp_path / "out")
    assert open_site(tmp_path / "out" / "ours") == versions.newest().site

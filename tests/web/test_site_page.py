"""The Site page: browsing, forms with their findings, trying a change on orders, saving, undoing, and who is second."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.applications import Starlette

from cubital.app.site_editing import SiteVersions
from cubital.app.wiring import open_site_versions
from tests.web.conftest import Browser

ENTRY: dict[str, str | list[str]] = {
    "key": "potassium", "base": "0", "name": "potassium", "also": "K\nserum potassium", "bench": "chemistry",
    "codes": "loinc 2823-3\nurn:example:quillmere:tests K01", "handling": ["no_chill", "no_fist"],
    "rank": "cannot-wait",
    "accepts.0.matrix": "plasma", "accepts.0.tubes": "heparin-gel, heparin, heparin-micro",
    "accepts.0.volume_ul": "20", "accepts.0.minimum_ul": "10", "accepts.1.matrix": "serum",
    "accepts.1.tubes": "serum-gel, serum, serum-glass, thrombin, serum-micro", "accepts.1.volume_ul": "20",
    "accepts.1.minimum_ul": "10",
}  # fmt: skip
OWN_TUBE: dict[str, str | list[str]] = {**ENTRY, "own_tube": "1"}
ORDERS = b'{"tests": ["K", "Na"], "id": "secret-17"}\n' * 3 + b'{"tests": ["CBC"]}\n'


@pytest.fixture
def supervisor(browser: Browser) -> Browser:
    """A supervisor's browser."""
    return browser.sign_in("supervisor").get("/site")


def save(browser: Browser, form: dict[str, str | list[str]], note: str = "an own tube") -> Browser:
    return browser.post("/site/test/change", {**form, "do": "save", "note": note})


def part(browser: Browser, path: str, form: dict[str, str | list[str]]) -> str:
    return browser.post(path, form, **{"HX-Request": "true"}).text


def lint_at(text: str, name: str) -> str:
    found = re.search(rf'<span class="lint" id="lint-{name}"[^>]*>(.*?)</span>\n', text, re.S)
    return found[1] if found else "no such field"


def test_everyone_browses_and_finds_by_name_abbreviation_and_code(collector: Browser) -> None:
    for asked in ("potassium", "K01", "2823-3", "potasium"):
        text = collector.get(f"/site?q={asked}").text
        assert 'href="/site/test?key=potassium"' in text, asked
    assert "New test" not in text
    assert 'href="/site/test?key=sodium"' not in collector.get("/site?q=2823-3").text
    serum = collector.get("/site?tube=citrate").text
    assert "activated-protein-c-resistance" in serum
    assert "key=potassium" not in serum
    assert "Nothing goes by this name" in collector.get("/site?q=zzzzzz").text


def test_the_list_comes_in_parts_and_as_rows_alone_to_a_partial_request(collector: Browser) -> None:
    whole = collector.get("/site").text
    assert whole.count('class="row"') == 30
    assert "start=30" in whole
    rows = collector.get("/site?start=30", **{"HX-Request": "true"}).text
    assert "<html" not in rows
    assert 'class="row"' in rows
    assert collector.get("/site?start=x").status == 200


def test_one_who_may_not_edit_sees_every_value_and_no_form(collector: Browser) -> None:
    text = collector.get("/site/test?key=potassium").text
    assert "from memory" in text
    assert "<form id=" not in text
    assert "200" in str(collector.get("/site/kind?key=citrate").status)
    assert "80 left" in collector.text
    assert "expired" in collector.text
    assert "this site&#39;s own file" in collector.get("/site/policy").text
    assert "<form id=" not in collector.text
    assert collector.get("/site/test?key=no-such").status == 404


def test_a_panel_is_shown_with_what_it_stands_for(collector: Browser) -> None:
    text = collector.get("/site?q=CMP").text
    assert 'href="/site/panel?key=comprehensive-metabolic-panel"' in text
    told = collector.get("/site/panel?key=comprehensive-metabolic-panel").text
    assert "What it stands for" in told
    assert "<form id=" not in told
    assert collector.get("/site/panel?key=no-such").status == 404


PANEL: dict[str, str | list[str]] = {
    "key": "electrolytes-panel", "base": "0", "name": "electrolytes", "also": "lytes\nelectrolyte panel",
    "codes": "loinc 24326-1", "tests": "sodium\npotassium\nchloride\nbicarbonate",
}  # fmt: skip


def test_the_members_of_a_panel_are_changed_tried_saved_used_and_undone(
    supervisor: Browser, application: Starlette, sites: SiteVersions
) -> None:
    assert "sodium\npotassium\nchloride" in supervisor.get("/site/panel?key=electrolytes-panel").text
    other = Browser(application).sign_in("collector")
    supervisor.get("/site/orders")
    log = b'{"tests": ["lytes"]}\n' * 7
    supervisor.client.post("/site/orders", data={"token": supervisor.token}, files={"log": ("month.jsonl", log)})
    more = {**PANEL, "tests": "sodium\npotassium\ncomplete-blood-count"}
    assert "write potassium" in lint_at(part(supervisor, "/site/panel/change", {**PANEL, "tests": "K"}), "tests")
    supervisor.post("/site/panel/change", {**more, "do": "try"})
    assert "<b>7</b> get other tubes" in supervisor.text
    supervisor.post("/site/panel/change", {**more, "do": "save", "note": "with a count"})
    assert supervisor.path == "/site/version"
    assert "<ins>sodium, potassium, complete-blood-count</ins>" in supervisor.text
    assert "2 tubes," in other.get("/draw").post("/draw", {"tests": "lytes"}).text
    supervisor.post("/site/restore", {"base": "1", "number": "0", "note": "not needed"})
    assert "1 tube," in other.post("/draw", {"tests": "lytes"}).text
    assert [one.number for one in sites.history()] == [2, 1, 0]


def test_a_test_that_a_panel_names_is_kept_and_the_page_says_which_panel(
    supervisor: Browser, sites: SiteVersions
) -> None:
    form: dict[str, str | list[str]] = {
        "new": "1", "key": "lithium-quick", "base": "0", "name": "lithium, quick", "bench": "toxicology",
        "accepts.0.matrix": "serum", "accepts.0.tubes": "serum", "accepts.0.volume_ul": "200",
    }  # fmt: skip
    save(supervisor, form, note="new analyser")
    round_of: dict[str, str | list[str]] = {
        "new": "1", "key": "ward-round", "base": "1", "name": "ward round", "tests": "lithium-quick\nsodium",
    }  # fmt: skip
    supervisor.post("/site/panel/change", {**round_of, "do": "save", "note": "for rounds"})
    assert supervisor.path == "/site/version"
    text = supervisor.get("/site/test?key=lithium-quick").text
    assert "It cannot be taken out" in text
    assert '<a href="/site/panel?key=ward-round">ward round</a>' in text
    out: dict[str, str | list[str]] = {**form, "new": "", "base": "2", "do": "take-back", "note": "gone"}
    supervisor.post("/site/test/change", out)
    assert supervisor.status == 422
    assert "found it in the panels ward round" in supervisor.text
    assert "lithium-quick" in sites.newest().site.tests
    supervisor.post("/site/panel/change", {**round_of, "new": "", "base": "2", "do": "take-back", "note": "no rounds"})
    supervisor.post("/site/test/change", {**out, "base": "3"})
    assert supervisor.path == "/site/version"
    assert "lithium-quick" not in sites.newest().site.tests


def test_a_finding_comes_beside_its_field_as_one_types_and_nothing_is_saved(
    supervisor: Browser, sites: SiteVersions
) -> None:
    text = part(supervisor, "/site/test/change", {**ENTRY, "accepts.0.tubes": "heparin-gell", "bench": ""})
    assert "write heparin-gel" in lint_at(text, "accepts-0-tubes")
    assert "the shipped one stays: chemistry" in lint_at(text, "bench")
    assert lint_at(text, "name") == ""
    assert "<html" not in text
    wrong = part(supervisor, "/site/test/change", {**ENTRY, "accepts.1.volume_ul": "2.5"})
    assert "stops" in lint_at(wrong, "accepts-1-volume_ul")
    assert "lint-accepts-7-tubes" not in wrong
    assert sites.history() == ()


def test_a_form_that_cannot_be_saved_comes_back_with_what_was_typed(supervisor: Browser, sites: SiteVersions) -> None:
    save(supervisor, {**ENTRY, "accepts.0.volume_ul": "<much>"})
    assert supervisor.status == 422
    assert "&lt;much&gt;" in supervisor.text
    assert "<much>" not in supervisor.text
    save(supervisor, OWN_TUBE, note=" ")
    assert supervisor.status == 422
    assert "expected why this is saved" in supervisor.text
    save(supervisor, ENTRY)
    assert "found nothing changed" in supervisor.text
    assert sites.history() == ()


def test_a_saved_change_is_used_at_once_by_every_page_and_can_be_undone(
    supervisor: Browser, application: Starlette
) -> None:
    other = Browser(application).sign_in("collector")
    asked: dict[str, str | list[str]] = {"tests": "K\nNa"}
    assert "1 tube," in other.get("/draw").post("/draw", asked).text
    save(supervisor, OWN_TUBE)
    assert (supervisor.status, supervisor.path) == (200, "/site/version")
    assert "Version 1" in supervisor.text
    assert "own tube" in supervisor.text
    assert "2 tubes," in other.post("/draw", asked).text
    assert "saved the site" in supervisor.get("/trail").text
    supervisor.get("/site/version?number=1")
    supervisor.post("/site/restore", {"base": "1", "number": "0", "note": "not needed"})
    assert "brings back version 0" in supervisor.text
    assert "1 tube," in other.post("/draw", asked).text
    versions = supervisor.get("/site/versions").text
    assert versions.count("/site/version?number=") == 3
    assert "saved by supervisor" in versions


def test_the_second_of_two_supervisors_is_told_and_shown_what_changed(
    supervisor: Browser, application: Starlette, sites: SiteVersions
) -> None:
    other = Browser(application).sign_in("administrator").get("/site/test?key=potassium")
    save(supervisor, {**ENTRY, "bench": "night lab"}, note="moved to the night lab")
    save(other, OWN_TUBE)
    assert other.status == 409
    assert "Someone saved while this form was open" in other.text
    assert "moved to the night lab" in other.text
    assert "<ins>night lab</ins>" in other.text
    assert 'name="base" value="1"' in other.text
    assert [one.number for one in sites.history()] == [1, 0]
    save(other, {**OWN_TUBE, "base": "1", "bench": "night lab"})
    assert other.path == "/site/version"
    test = sites.newest().site.tests["potassium"]
    assert (test.bench, test.own_tube) == ("night lab", True)


def test_a_field_that_both_changed_is_shown_with_the_other_ones_words(
    supervisor: Browser, application: Starlette
) -> None:
    other = Browser(application).sign_in("administrator").get("/site")
    save(supervisor, {**ENTRY, "bench": "night lab"}, note="moved")
    save(other, {**ENTRY, "bench": "day lab"})
    assert "Both of you changed bench" in other.text
    assert "<q>night lab</q>" in other.text
    assert 'value="day lab"' in other.text


def test_an_undo_of_a_version_that_is_not_the_newest_any_more_is_refused(supervisor: Browser) -> None:
    save(supervisor, OWN_TUBE)
    save(supervisor, {**ENTRY, "base": "1"}, note="back")
    supervisor.post("/site/restore", {"base": "1", "number": "0", "note": "undo"})
    assert supervisor.status == 409
    assert "saved version 2 since" in supervisor.text
    wrong: list[dict[str, str | list[str]]] = [
        {"base": "x"}, {"base": "2", "number": "9", "note": "n"}, {"base": "2", "note": "n"},
    ]  # fmt: skip
    for form in wrong:
        assert supervisor.post("/site/restore", form).status == 409


def test_what_a_change_would_do_is_counted_on_a_log_of_orders(supervisor: Browser, sites: SiteVersions) -> None:
    token = supervisor.get("/site/orders").token
    response = supervisor.client.post("/site/orders", data={"token": token}, files={"log": ("month.jsonl", ORDERS)})
    assert "<b>4 orders read</b>, 2 different ones kept" in response.text
    assert [one.times for one in sites.orders()] == [3, 1]
    assert "secret-17" not in str(sites.orders())
    supervisor.post("/site/test/change", {**OWN_TUBE, "do": "try"})
    assert supervisor.status == 200
    assert "<b>3</b> get other tubes" in supervisor.text
    assert "<b>+3</b> tubes more or less" in supervisor.text
    # What is not the same now and then is marked.
    assert "<del>heparin gel, routine chemistry 1.1 mL</del>" in supervisor.text
    assert "<ins>2 x heparin gel, routine chemistry 1.1 mL</ins>" in supervisor.text
    assert "For example" in supervisor.text
    assert sites.history() == ()
    supervisor.post("/site/orders", {"do": "forget"})
    assert sites.orders() == ()


@pytest.mark.parametrize("data", [b"", b"not an order\n", b"\xff\xfe"])
def test_a_log_without_an_order_is_refused_and_the_kept_one_stays(
    supervisor: Browser, sites: SiteVersions, data: bytes
) -> None:
    token = supervisor.get("/site/orders").token
    supervisor.client.post("/site/orders", data={"token": token}, files={"log": ("a", ORDERS)})
    response = supervisor.client.post("/site/orders", data={"token": token}, files={"log": ("b", data)})
    assert response.status_code == 422
    assert len(sites.orders()) == 2


def test_a_kind_that_is_taken_off_the_shelf_names_the_tests_that_go_with_it(supervisor: Browser) -> None:
    form: dict[str, str | list[str]] = {
        "key": "citrate", "base": "0", "name": "citrate 9:1, coagulation", "stopper": "pale blue, ribbed", "mark": "C9",
        "sizes.0.draw_ml": "1.8", "sizes.0.liquid_additive_ul": "200", "sizes.0.in_stock": "0",
        "dead_volume_ul.whole-blood": "100", "dead_volume_ul.plasma": "200", "do": "try",
        "accesses": ["straight-needle", "winged-set", "syringe", "line"],
    }  # fmt: skip
    text = supervisor.post("/site/kind/change", form).text
    assert "Can no longer be drawn" in text
    assert "prothrombin time" in text
    assert "none in stock" in text


def test_a_new_test_is_made_and_taken_out_again(supervisor: Browser, sites: SiteVersions) -> None:
    assert "New test" in supervisor.get("/site/test?new=1").text
    assert 'name="key"' in supervisor.text
    form: dict[str, str | list[str]] = {
        "new": "1", "key": "lithium-quick", "base": "0", "name": "lithium, quick", "bench": "toxicology",
        "accepts.0.matrix": "serum", "accepts.0.tubes": "serum", "accepts.0.volume_ul": "200",
    }  # fmt: skip
    assert save(supervisor, {**form, "key": ""}).status == 422
    assert "expected a key" in supervisor.text
    assert "already" in save(supervisor, {**form, "key": "potassium"}).text
    assert 'value="toxicology"' in supervisor.text
    assert save(supervisor, form, note="new analyser").path == "/site/version"
    assert "lithium" in supervisor.get("/site?q=lithium-quick").text
    supervisor.get("/site/test?key=lithium-quick")
    assert "Take this entry out of our file" in supervisor.text
    supervisor.post(
        "/site/test/change", {**form, "new": "", "base": "1", "do": "take-back", "note": "the analyser went"}
    )
    assert "lithium-quick" not in sites.newest().site.tests


@pytest.mark.parametrize(
    "path",
    ["/site/test?new=1", "/site/panel?new=1", "/site/panel?key=lipid-panel", "/site/kind?new=1",
     "/site/kind?key=citrate", "/site/policy"],
)  # fmt: skip
def test_every_form_opens(supervisor: Browser, path: str) -> None:
    assert supervisor.get(path).status == 200
    assert '<form id="edit"' in supervisor.text


def test_everyone_reads_how_long_tubes_travel_and_what_the_gas_analyzer_measures(collector: Browser) -> None:
    collector.get("/site/policy")
    assert "home visit 120 min" in collector.text
    assert "potassium, sodium, glucose, lactate, ionized-calcium" in collector.text


def test_the_policy_is_changed_and_the_name_of_the_site_with_it(supervisor: Browser, sites: SiteVersions) -> None:
    form: dict[str, str | list[str]] = {
        "base": "0", "name": "Quillmere East (invented)", "time_zone": "Europe/Berlin", "order_of_draw": "clsi-gp41",
        "objective": "least-blood", "share_benches": "chemistry, immunochemistry, special chemistry",
        "recovery": "0.9", "blood_limit": "hospital-2-5-percent", "altitude_m": "120", "do": "save", "note": "renamed",
        "near_limit_percent": "25", "reserve_percent": "100", "line_discard": "returned", "usual_travel_min": "20",
        "whole_blood_tests": "potassium, glucose", "windows": "strict", "travel": "ward: 30",
    }  # fmt: skip
    supervisor.post("/site/policy/change", form)
    assert supervisor.path == "/site/version"
    assert '<p class="site">Quillmere East (invented)</p>' in supervisor.text
    assert sites.newest().site.planning.objective == "least-blood"
    # Versions go by the name of the folder's site, so a new name loses none of them.
    assert len(sites.history()) == 2


def test_a_version_goes_out_as_an_archive(collector: Browser) -> None:
    response = collector.client.get("/site/export")
    assert response.headers["content-type"] == "application/zip"
    assert "site-version-0.zip" in response.headers["content-disposition"]
    with zipfile.ZipFile(io.BytesIO(response.content)) as archive:
        assert "demo/tubes.toml" in archive.namelist()
    assert collector.get("/site/export?number=9").status == 404
    assert collector.get("/site/version?number=9").status == 404
    assert collector.get("/site/version").status == 404


def test_a_change_without_the_token_of_the_page_is_refused(supervisor: Browser, sites: SiteVersions) -> None:
    for path in ("/site/test/change", "/site/kind/change", "/site/policy/change", "/site/restore", "/site/orders"):
        supervisor.token = "0" * 64
        assert supervisor.post(path, {**OWN_TUBE, "do": "save", "note": "x"}).status == 403, path
    assert sites.history() == ()


@pytest.mark.parametrize("role", ["collector", "processor", "teacher", "student"])
def test_who_may_only_browse_cannot_change_anything(browser: Browser, sites: SiteVersions, role: str) -> None:
    browser.sign_in(role).get("/draw")
    for path in ("/site/test/change", "/site/kind/change", "/site/policy/change", "/site/restore", "/site/orders"):
        assert browser.post(path, {**OWN_TUBE, "do": "save", "note": "x"}).status == 403, path
    assert sites.history() == ()


@pytest.fixture
def hand_changed(supervisor: Browser, sites: SiteVersions, tmp_path: Path) -> Iterator[SiteVersions]:
    """A server that was started again after the folder was changed by hand."""
    import shutil

    from cubital.app.wiring import demo_folder

    save(supervisor, OWN_TUBE)
    folder = tmp_path / "demo"
    shutil.copytree(demo_folder(), folder)
    path = folder / "tubes.toml"
    path.write_text(path.read_text().replace("in_stock = 80", "in_stock = 81"))
    found = open_site_versions(str(tmp_path / "record.db"), folder)
    yield found
    found.close()


def test_a_folder_changed_by_hand_is_told_to_who_may_edit_and_taken_in(
    hand_changed: SiteVersions, application: Starlette, supervisor: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    from cubital.web import site_page

    monkeypatch.setattr(site_page, "sites_of", lambda visit: hand_changed)
    assert "was changed by hand" in supervisor.get("/site/versions").text
    assert "was changed by hand" not in Browser(application).sign_in("collector").get("/site").text
    supervisor.post("/site/restore", {"base": "1", "do": "folder", "note": ""})
    assert supervisor.path == "/site/version"
    assert hand_changed.newest().site.kinds["citrate"].sizes[0].in_stock == 81

"""Tables of a site out and in again: nothing is lost, nothing is guessed, and only what differs is changed."""

from __future__ import annotations

import csv
import functools
import io
from fractions import Fraction
from typing import Any

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cubital.app.site_exchange import SiteImport, export_site, import_site
from cubital.app.wiring import read_site_tables, site_files, tables_of
from cubital.errors import ExchangeError
from cubital.exchange.site_csv import RISKY, disarm, read_csv, rearm, write_csv
from cubital.exchange.site_sheet import join_cell, split_cell
from cubital.exchange.toml_text import change_entries, change_entry
from cubital.model import Site
from tests.generators.site_files import site_files as invented_files
from tests.generators.site_files import words

NAME, DEMO = site_files(demo=True)
FEW = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
FORMATS = ("csv", "xlsx")
SMALL = {
    "tubes.toml": '# our shelf\n[serum]\nadditive = "clot-activator"\nsizes = [{draw_ml = 4.0}] # all of one size\n',
    "tests.toml": '[sodium]\nbench = "chemistry"\n'
    'accepts = [{matrix = "serum", tubes = ["serum"], volume_ul = 20}]\n\n'
    '# kept\n[iron]\nbench = "chemistry"\naccepts = [{matrix = "serum", tubes = ["serum"], volume_ul = 30}]\n',
}


def read(files: dict[str, str]) -> Site:
    site, _, findings = read_site_tables(tables_of(files), name="x")
    assert site is not None
    assert not any(one.level == "error" for one in findings), findings
    return site


def is_sound(files: dict[str, str]) -> bool:
    site, _, findings = read_site_tables(tables_of(files), name="x")
    return site is not None and not any(one.level == "error" for one in findings)


def bring(data: bytes, onto: dict[str, str], *, replace: bool = False, where: str = "in") -> SiteImport:
    return import_site(data, onto=onto, name="x", where=where, replace=replace)


def unmarked(site: Site) -> Site:
    """The site without where its values come from, which a table does not hold."""
    tests = {key: msgspec.structs.replace(test, basis={}) for key, test in site.tests.items()}
    kinds = {key: msgspec.structs.replace(kind, basis="", source="") for key, kind in site.kinds.items()}
    return msgspec.structs.replace(site, tests=tests, kinds=kinds, panels={}, ambiguous={})


def edited(data: bytes, key: str, column: str, text: str, *, line: int = 0) -> bytes:
    """A table with one cell of the nth line of an entry changed."""
    rows = list(csv.reader(io.StringIO(data.decode("utf-8-sig"))))
    mine = [row for row in rows if row[0] == key]
    mine[line][rows[0].index(column)] = text
    out = io.StringIO(newline="")
    csv.writer(out).writerows(rows)
    return out.getvalue().encode()


@pytest.mark.parametrize("kind", FORMATS)
def test_the_demo_site_goes_out_and_comes_in_without_a_change(kind: str) -> None:
    found = bring(export_site(read(DEMO), kind), DEMO)
    assert found.findings == ()
    assert not found.is_changing
    assert found.files == DEMO


@pytest.mark.parametrize("kind", FORMATS)
@FEW
@given(files=invented_files(includes=False).filter(is_sound))
def test_any_site_goes_out_and_comes_in_as_the_same_site(kind: str, files: dict[str, str]) -> None:
    found = bring(export_site(read(files), kind), files)
    assert found.is_usable, found.findings
    assert not found.is_changing, found.changes
    assert found.files == files


@pytest.mark.parametrize("kind", FORMATS)
@FEW
@given(files=invented_files(includes=False).filter(is_sound))
def test_any_site_can_be_laid_over_another_and_is_then_the_same(kind: str, files: dict[str, str]) -> None:
    site = read(files)
    found = bring(export_site(site, kind), SMALL, replace=True)
    assert found.is_usable, found.findings
    assert found.site is not None
    assert unmarked(found.site) == unmarked(site)


@settings(max_examples=5, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(files=invented_files(includes=True).filter(is_sound))
def test_a_site_that_adds_to_the_shipped_one_goes_out_and_comes_in_as_the_same_site(files: dict[str, str]) -> None:
    found = bring(export_site(read(files), "csv"), files)
    assert found.is_usable, found.findings
    assert found.files == files


@given(st.text())
def test_a_disarmed_text_never_begins_as_a_formula_and_comes_back_exactly(text: str) -> None:
    assert not disarm(text).startswith(RISKY)
    assert rearm(disarm(text)) == text


@given(st.lists(words, max_size=4))
def test_the_words_of_a_cell_come_back_exactly(texts: list[str]) -> None:
    assert split_cell(join_cell(texts)) == texts


@given(st.lists(words, min_size=1, max_size=4))
def test_no_cell_of_an_exported_table_begins_as_a_formula(texts: list[str]) -> None:
    data = write_csv(["test", *texts], [{"test": "=1+1", **dict.fromkeys(texts, texts[0])}])
    cells = [cell for row in csv.reader(io.StringIO(data.decode("utf-8-sig"))) for cell in row]
    assert not any(cell.startswith(RISKY) for cell in cells)
    assert read_csv(data, where="x").lines[0].cells["test"] == "=1+1"


def test_a_changed_volume_changes_that_line_of_the_file_alone_and_then_rests_on_the_site() -> None:
    data = edited(export_site(read(DEMO), "tests.csv"), "potassium", "volume_ul", "50")
    found = bring(data, DEMO)
    assert found.site is not None
    assert found.site.tests["potassium"].accepts[0].volume_ul == 50
    assert found.site.tests["potassium"].basis["volume"] == ("site", "site")
    assert found.site.tests["potassium"].basis["handling"] == read(DEMO).tests["potassium"].basis["handling"]
    assert found.site.tests["chloride"] == read(DEMO).tests["chloride"]
    assert [(c.file, c.added, c.changed, c.missing) for c in found.changes] == [("tests.toml", (), ("potassium",), ())]
    old, new = (set(files["tests.toml"].splitlines()) for files in (DEMO, found.files))
    assert old - new == set()
    assert any("volume_ul = 50" in line for line in new - old)


def test_comments_of_a_file_stay_where_an_entry_is_added() -> None:
    data = b"kind,additive,draw_ml\nedta,k2-edta,2.0\n"
    found = bring(data, SMALL)
    assert found.files["tubes.toml"].startswith(SMALL["tubes.toml"])
    assert found.site is not None
    assert found.site.kinds["edta"].sizes[0].draw_ul == 2000
    assert found.files["tests.toml"] == SMALL["tests.toml"]


def test_a_term_that_the_table_takes_away_is_taken_away_from_the_shipped_test() -> None:
    data = edited(export_site(read(DEMO), "tests.csv"), "potassium", "handling", "no_fist")
    found = bring(data, DEMO)
    assert found.site is not None
    assert found.site.tests["potassium"].handling == ("no_fist",)
    assert "no_chill = false" in found.files["tests.toml"]


def test_a_moment_that_the_table_takes_away_is_taken_away_from_the_shipped_test() -> None:
    data = edited(export_site(read(DEMO), "tests.csv"), "vancomycin-peak", "moment", "")
    found = bring(data, DEMO)
    assert found.site is not None
    assert found.site.tests["vancomycin-peak"].moment is None
    assert "moment = false" in found.files["tests.toml"]
    wrong = edited(data, "vancomycin-peak", "moment", "vancomycin-paek")
    said = [str(one) for one in bring(wrong, DEMO).findings if one.level == "error"]
    assert len(said) == 1
    assert 'found "vancomycin-paek"; expected one of the' in said[0]


def test_a_stopper_that_the_policy_words_is_changed_there_too() -> None:
    data = edited(export_site(read(DEMO), "tubes.csv"), "citrate", "stopper", "sky blue")
    found = bring(data, DEMO)
    assert found.site is not None
    assert found.site.kinds["citrate"].stopper == "sky blue"
    assert 'serum-gel = "amber"' in found.files["site.toml"]


def test_a_policy_goes_in_with_its_groups_and_its_own_places() -> None:
    rows = "part,key,value,because\nplanning,recovery,0.8,\nplanning,blood_limit,none,\nplace,serum,after edta,house\n"
    rows += "planning,share_benches,chemistry | serology,\nsite,name,our house,\nplanning,altitude_m,-20,\n"
    rows += "bench,hemolysis_band,Yes,\n"
    found = bring(rows.encode(), {**SMALL, "site.toml": '[planning]\nobjective = "least-blood"\n'})
    assert found.site is not None
    planning = found.site.planning
    assert (planning.recovery, planning.blood_limit, planning.altitude_m) == (Fraction(4, 5), None, -20)
    assert planning.objective == "least-blood"
    assert planning.share_benches == (("chemistry", "serology"),)
    assert (planning.placings[0].kind, planning.placings[0].after) == ("serum", "edta")
    assert found.site.name == "our house"
    assert found.site.bench_policy.hemolysis_band


def test_the_places_of_a_policy_and_the_tests_of_its_gas_analyzer_go_in_as_they_went_out() -> None:
    rows = b"part,key,value\nplanning,whole_blood_tests,sodium | iron\nplanning,usual_travel_min,20\n"
    rows += b"planning,windows,extended\ntravel,ward,25\ntravel,home visit,120\n"
    found = bring(rows, SMALL)
    assert found.site is not None
    planning = found.site.planning
    assert (planning.whole_blood_tests, planning.usual_travel_min) == (("sodium", "iron"), 20)
    assert (planning.windows, planning.travel_min) == ("extended", {"ward": 25, "home visit": 120})
    again = bring(export_site(found.site, "policy.csv"), dict(found.files))
    assert not again.is_changing


@pytest.mark.parametrize(
    ("rows", "fault"),
    [
        (b"travel,ward,-5\n", "found -5; expected whole minutes from 0 to 1440"),
        (b"travel,ward,25\ntravel,ward,30\n", "found it twice; expected each key once"),
        (b"travel,ward,25\ntravel,Ward,30\n", 'found "ward" above it; expected each place once'),
        (b"travel,ward,soon\n", 'found "soon"; expected whole minutes from 0 to 1440'),
    ],
)
def test_a_way_that_is_none_and_a_place_written_twice_stop_a_policy(rows: bytes, fault: str) -> None:
    found = bring(b"part,key,value\n" + rows, SMALL)
    assert found.site is None
    assert any(fault in str(one) for one in found.findings), [str(one) for one in found.findings]


def test_rows_that_are_missing_stay_and_are_named_until_they_are_to_go() -> None:
    data = b"test,bench,matrix,tubes,volume_ul\nsodium,chemistry,serum,serum,20\n"
    kept = bring(data, SMALL)
    assert kept.changes[0].missing == ("iron",)
    assert not kept.is_changing
    assert kept.site is not None
    assert set(kept.site.tests) == {"sodium", "iron"}
    gone = bring(data, SMALL, replace=True)
    assert gone.is_changing
    assert gone.site is not None
    assert set(gone.site.tests) == {"sodium"}


def test_a_shipped_test_can_go_and_what_is_left_keeps_its_sources() -> None:
    rows = export_site(read(DEMO), "tests.csv").decode("utf-8-sig").splitlines()
    data = "\r\n".join(row for row in rows if not row.startswith("chloride,")).encode()
    found = bring(data, DEMO, replace=True)
    assert found.site is not None
    assert "chloride" not in found.site.tests
    assert found.site.tests["bicarbonate"] == read(DEMO).tests["bicarbonate"]
    assert "include" not in tables_of(found.files)["tests.toml"]


def test_every_fault_of_a_table_is_told_by_line_and_column_and_nothing_is_changed() -> None:
    data = (
        b"test,bench,matrix,tubes,volume_ul,minimum_ul,own_tube,handling,culture\r\n"
        b"a,chemistry,serum,serum,1.000,,,,\r\n"
        b"b,chemistry,sera,serum,20,30,perhaps,icy,\r\n"
        b"c,,serum,,20,,,,\r\n"
        b",chemistry,serum,serum,20,,,,\r\n"
    )
    found = bring(data, SMALL, where="ours.csv")
    assert not found.is_usable
    assert found.files == SMALL
    told = {f"{one.entry.split(' (')[0]}: {one.found}" for one in found.findings}
    assert told >= {
        'line 2 volume_ul: "1.000"', 'line 3 matrix: "sera"', 'line 3 minimum_ul: 30', 'line 3 own_tube: "perhaps"',
        'line 3 handling: "icy"', "line 4 tubes: nothing", "line 4 test: nothing", "line 5 test: an empty cell",
    }, told  # fmt: skip
    assert all(one.file == "ours.csv" and one.remedy for one in found.findings)


def test_a_quoted_cell_of_several_lines_does_not_shift_the_numbers_of_the_lines() -> None:
    data = b'test,bench,matrix,tubes,volume_ul,said\na,chemistry,serum,serum,20,"one\ntwo"\nb,c,sera,serum,20,\n'
    found = bring(data, SMALL, where="t.csv")
    assert any(one.entry.startswith("line 4 matrix") for one in found.findings)


def test_what_the_lines_of_one_test_say_of_the_whole_test_must_agree() -> None:
    head = b"test,bench,matrix,tubes,volume_ul\na,chemistry,serum,serum,20\n"
    assert bring(head + b"a,,plasma,heparin,20\n", SMALL).is_usable
    found = bring(head + b"a,serology,plasma,heparin,20\n", SMALL)
    assert [one.entry for one in found.findings if one.level == "error"] == ["line 3 bench"]


def test_the_ways_of_a_test_stand_in_the_order_of_their_numbers() -> None:
    data = b"test,bench,way,matrix,tubes,volume_ul\na,chemistry,2,plasma,heparin,20\na,,1,serum,serum,20\n"
    found = bring(data, SMALL)
    assert found.site is not None
    assert [way.matrix for way in found.site.tests["a"].accepts] == ["serum", "plasma"]
    assert not bring(data.replace(b",2,", b",1,"), SMALL).is_usable


def test_a_column_that_nothing_reads_is_told_and_one_that_is_a_slip_is_refused() -> None:
    found = bring(b"test,bench,matrix,tubes,volume_ul,phone\na,chemistry,serum,serum,20,12\n", SMALL, where="t.csv")
    assert found.is_usable
    assert found.unread == ("t.csv: phone",)
    assert any(one.level == "note" and "phone" in one.entry for one in found.findings)
    slip = bring(b"test,bench,matrix,tubes,volume\na,chemistry,serum,serum,20\n", SMALL)
    assert any(one.remedy == "write volume_ul" for one in slip.findings)


@pytest.mark.parametrize(
    ("text", "draw_ul"), [("kind,additive,draw_ml\nx,none,2.7\n", 2700), ("kind;additive;draw_ml\nx;none;2,7\n", 2700)]
)
def test_commas_and_semicolons_part_cells_and_a_comma_is_a_decimal_mark_only_beside_semicolons(
    text: str, draw_ul: int
) -> None:
    for data in (text.encode(), text.encode("utf-8-sig"), text.replace("\n", "\r\n").encode()):
        found = bring(data, SMALL)
        assert found.site is not None
        assert found.site.kinds["x"].sizes[0].draw_ul == draw_ul
    assert not bring(b'kind,additive,draw_ml\nx,none,"2,7"\n', SMALL).is_usable


def test_a_code_that_a_spreadsheet_took_for_a_month_is_told() -> None:
    data = b"test,bench,matrix,tubes,volume_ul,code:loinc\na,chemistry,serum,serum,20,Feb 75\n"
    assert any("check digit" in one.expected and one.level == "warning" for one in bring(data, SMALL).findings)


def test_a_test_that_a_panel_of_the_site_needs_cannot_go() -> None:
    files = {**SMALL, "panels.toml": '[ours]\ntests = ["iron"]\n'}
    data = b"test,bench,matrix,tubes,volume_ul\nsodium,chemistry,serum,serum,20\n"
    found = bring(data, files, replace=True)
    assert not found.is_usable
    assert any(one.file == "panels.toml" for one in found.findings)
    assert found.files == files


@pytest.mark.parametrize(
    ("data", "match"),
    [
        (b"", "no lines"), (b"test,bench\n", "no lines"), (b"a,b\n1,2\n", "columns test, kind and part"),
        (b"test,kind\n1,2\n", "columns test, kind and part"), (b"test,bench\n\xff\xfe,1\n", "UTF-8"),
        (b'test,bench\n"a,b\n', "not CSV"), (b"test,bench\na,b,c\n", "3 cells; expected 2"),
        (b"test\n" + b"x" * 5_000_001, "at most"), (b"test,bench\na,\0\n", "NUL"), (b"PK\x03\x04 no", "no zip"),
        (b"test,bench\n" + b"x" * 5_001 + b",y\n", "5001 characters"), (b"a," * 200 + b"a\n1\n", "201 columns"),
        (b"test\n" + b"a\n" * 20_001, "over 20000 lines"), (b"\xd0\xcf\x11\xe0\xa1", "old or locked"),
    ],
)  # fmt: skip
def test_what_is_no_table_of_a_site_is_refused(data: bytes, match: str) -> None:
    with pytest.raises(ExchangeError, match=match):
        bring(data, SMALL)


def test_an_unknown_format_is_refused() -> None:
    with pytest.raises(ExchangeError, match=r"one of csv, tests\.csv"):
        export_site(read(SMALL), "ods")


def test_an_archive_whose_directory_points_before_its_start_is_refused() -> None:
    whole = _exported("csv")
    with pytest.raises(ExchangeError, match="damaged part"):
        bring(whole[:2] + b"\0" + whole[4:], SMALL)


@pytest.mark.parametrize("kind", ["csv", "tests.csv", "xlsx", "fhir"])
@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_spoiled_bytes_are_refused_or_read_and_never_break_the_reader(kind: str, data: st.DataObject) -> None:
    whole = bytearray(_exported(kind))
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(whole) - 1))
        whole[at : at + data.draw(st.integers(0, 3))] = data.draw(st.binary(max_size=3))
    try:
        found = bring(bytes(whole[: data.draw(st.integers(len(whole) // 2, len(whole)))]), SMALL)
    except ExchangeError:
        return
    assert found.is_usable != any(one.level == "error" for one in found.findings)


@functools.cache
def _exported(kind: str) -> bytes:
    return export_site(read(SMALL), kind)


@pytest.mark.parametrize(
    "changes",
    [
        {"iron": {"bench": "x"}, "new": {"bench": "y"}, "newer": {"bench": "z"}},
        {"sodium": None, "iron": {"bench": "x", "also": ["a"]}},
        {"include": "shipped", "sodium": {"bench": "x"}, "absent": None},
        {"key with spaces": {"bench": "x"}, "iron": None, "sodium": {"bench": "z"}},
    ],
)
def test_several_entries_change_as_one_after_the_other(changes: dict[str, Any]) -> None:
    text = one_by_one = SMALL["tests.toml"]
    for key, value in changes.items():
        one_by_one = change_entry(one_by_one, key, value)
    together = change_entries(text, changes)
    assert tables_of({"tests.toml": together}) == tables_of({"tests.toml": one_by_one})
    assert ("# kept" in together) == ("# kept" in one_by_one)


def test_several_entries_of_a_file_written_in_an_unusual_way_change_too() -> None:
    text = 'a = {bench = "x"}\n[c.d]\ne = 1\n'
    assert tables_of({"tests.toml": change_entries(text, {"a": {"bench": "y"}, "c": None, "b": {"f": 2}})}) == {
        "tests.toml": {"a": {"bench": "y"}, "b": {"f": 2}}
    }

"""`cubital site export` and `cubital site import`."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from cubital import facts
from cubital.app.wiring import demo_folder
from tests.unit.cli.prompt import say


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(demo_folder(), tmp_path / "ours"))


def texts(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


@pytest.mark.parametrize("name", ["ours.xlsx", "ours.zip", "tests.csv", "tubes.csv", "policy.csv"])
def test_a_site_goes_out_and_in_again_without_a_change(folder: Path, tmp_path: Path, name: str) -> None:
    before = texts(folder)
    said = say("site", "export", str(folder), "--to", str(tmp_path / name))
    assert said.status == 0
    assert f"{len(facts.tests_table()) + 1} tests" in said.out
    again = say("site", "import", str(tmp_path / name), str(folder))
    assert (again.status, again.out, again.err) == (0, f"{folder}: nothing to change\n", "")
    assert texts(folder) == before


def test_a_table_is_tried_then_taken_in_and_the_old_file_is_kept(folder: Path, tmp_path: Path) -> None:
    before = texts(folder)
    table = tmp_path / "t.csv"
    table.write_text("test,bench,matrix,tubes,volume_ul\nvitamin-d,chemistry,serum,serum-gel,90\n")
    tried = say("site", "import", str(table), str(folder), "--try", "--json")
    (document,) = tried.documents()
    assert (tried.status, document["usable"], document["written"]) == (0, True, False)
    assert document["changes"][0]["changed"] == ["vitamin-d"]
    assert len(document["changes"][0]["missing"]) == len(facts.tests_table())
    assert texts(folder) == before
    said = say("site", "import", str(table), str(folder))
    assert said.status == 0
    assert f"not in the table and kept {len(facts.tests_table())}: sodium, " in said.out
    assert said.out.endswith("changed; the files as they were end in .before\n")
    assert (folder / "tests.toml.before").read_bytes() == before["tests.toml"]
    assert say("site", "check", str(folder)).status == 0
    assert {name for name, text in texts(folder).items() if before.get(name) != text} == {
        "tests.toml", "tests.toml.before",
    }  # fmt: skip


def test_a_table_with_an_error_changes_nothing_and_tells_every_finding(folder: Path, tmp_path: Path) -> None:
    before = texts(folder)
    table = tmp_path / "t.csv"
    table.write_text("test,bench,matrix,tubes,volume_ul\na,x,sera,serum,1\nb,x,serum,serum,-1\n")
    said = say("site", "import", str(table), str(folder), "--json")
    (document,) = said.documents()
    assert (said.status, document["usable"], document["written"]) == (2, False, False)
    assert [one["entry"].split(" (")[0] for one in document["findings"]] == ["line 2 matrix", "line 3 volume_ul"]
    assert "nothing was changed; 2 errors" in say("site", "import", str(table), str(folder)).out
    assert texts(folder) == before


def test_what_the_table_does_not_have_goes_only_where_it_is_said(folder: Path, tmp_path: Path) -> None:
    table = tmp_path / "t.csv"
    table.write_text("part,key,value\nsite,name,our house\n")
    assert "kept 25" in say("site", "import", str(table), str(folder), "--try").out
    said = say("site", "import", str(table), str(folder), "--replace")
    assert "taken out 25" in said.out
    assert "our house" in (folder / "site.toml").read_text()
    assert "share_benches" not in (folder / "site.toml").read_text()


def test_files_that_are_not_there_or_are_no_tables_are_refused(folder: Path, tmp_path: Path) -> None:
    for arguments in (
        ("import", str(tmp_path / "absent.csv"), str(folder)),
        ("import", str(folder / "site.toml"), str(folder)),
        ("import", str(folder / "site.toml"), str(tmp_path / "absent")),
        ("export", str(folder), "--to", str(tmp_path / "x.ods")),
        ("export", str(folder), "--to", str(tmp_path / "absent" / "x.xlsx")),
        ("export", str(tmp_path / "absent"), "--to", "x.xlsx"),
    ):
        said = say("site", *arguments, "--json")
        assert said.status == 2, arguments
        assert "error" in said.documents()[0], arguments


def test_a_table_goes_out_on_stdout_and_in_from_stdin(folder: Path) -> None:
    said = say("site", "export", "--demo", "--to", "-", "--as", "tubes.csv")
    assert said.out.startswith("\ufeffkind,name,mark,additive")
    assert "nothing to change" in say("site", "import", "-", str(folder), stdin=said.out.encode()).out

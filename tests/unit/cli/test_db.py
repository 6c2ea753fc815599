"""`cubital db` at the prompt: what it prints, how it ends, and what it leaves."""

from __future__ import annotations

import sys
from pathlib import Path

import pypdfium2
import pytest

import cubital.store.engine
from cubital.app.wiring import open_record
from tests.contract import hands
from tests.contract.events import MORNING, Clock, collected, in_order, received
from tests.unit.cli.prompt import Said, say


@pytest.fixture
def db(tmp_path: Path) -> str:
    """A record of one specimen and two entries, made at the prompt."""
    path = str(tmp_path / "lab.db")
    assert say("db", "upgrade", "--db", path).status == 0
    record = open_record(path, now=Clock())
    record.append(*in_order(collected("s1"), received("s1")))
    record.close()
    return path


def head_of(db: str) -> str:
    found = say("db", "check", "--db", db, "--json")
    assert found.status == 0
    head = found.documents()[0]["head"]
    assert isinstance(head, str)
    return head


def refused(said: Said, words: str) -> bool:
    return said.status == 2 and words in said.err and "Traceback" not in said.err


def test_an_upgrade_says_what_it_made_and_the_second_that_nothing_was_to_do(tmp_path: Path) -> None:
    path = str(tmp_path / "lab.db")
    assert say("db", "upgrade", "--db", path) == (0, f"{path}: made, edition 0006\n", "")
    assert say("db", "upgrade", "--db", path) == (0, f"{path}: edition 0006 already\n", "")
    said = say("db", "upgrade", "--db", path, "--json").documents()
    assert said == [{"format": "cubital.record-upgrade/1", "db": path, "before": "0006", "after": "0006"}]


def test_a_check_prints_counts_and_the_head(db: str) -> None:
    said = say("db", "check", "--db", db)
    assert said.out == (
        f"{db}: sound; 1 specimen, 2 entries, head {head_of(db)}\n"
        f"trail: 0 lines, head 0:{'0' * 64}\n"
        "heads noted elsewhere: none given; what its owner cut off at the end or wrote anew is seen only with one\n"
    )
    assert said.status == 0
    met = say("db", "check", "--db", db, "--head", head_of(db), "--trail-head", f"0:{'0' * 64}")
    assert met.out.endswith("\nheads noted elsewhere: 2 met\n")


def test_a_file_that_others_may_read_is_told_of(db: str) -> None:
    assert "access:" not in say("db", "check", "--db", db).out
    Path(db).chmod(0o644)
    said = say("db", "check", "--db", db)
    assert (said.status, f"access: others on this machine may read it; run: chmod 600 {db}*\n" in said.out) == (0, True)
    assert say("db", "check", "--db", db, "--json").documents()[0]["private"] is False


def test_an_open_tube_made_to_vanish_from_the_board_is_named(db: str) -> None:
    hands.run(db, "UPDATE specimen SET status = 'gone'")
    said = say("db", "check", "--db", db)
    assert "error: specimen s1: what is kept to look it up by (status) is not what its events say" in said.out
    assert said.status == 2


def test_heads_noted_in_a_file_find_what_the_owner_cut_off(db: str, tmp_path: Path) -> None:
    file, head = str(tmp_path / "heads.txt"), head_of(db)
    for _ in range(2):
        said = say("db", "note", file, "--db", db)
        assert said.out == f"added to {file}: 2 entries, head {head}; trail head 0:{'0' * 64}\n"
    assert len(Path(file).read_text().splitlines()) == 2
    assert say("db", "note", file, "--db", db, "--json").documents()[0]["format"] == "cubital.record-note/1"
    met = say("db", "check", "--db", db, "--heads", file)
    assert (met.status, met.out.splitlines()[-1]) == (0, "heads noted elsewhere: 6 met")
    hands.run(
        db, "DELETE FROM event WHERE sequence = 2", "DELETE FROM specimen",
        "UPDATE chain_head SET sequence = 1, hash = (SELECT hash FROM event WHERE sequence = 1)",
    )  # fmt: skip
    assert say("db", "rebuild", "--db", db).status == 0
    assert say("db", "check", "--db", db).status == 0
    said = say("db", "check", "--db", db, "--heads", file)
    assert refused(said, "expected entry 2 as noted; the record was cut short")
    Path(file).write_text("2026\n")
    assert refused(say("db", "check", "--db", db, "--heads", file), "line 1: found '2026'; expected a line as")
    assert refused(say("db", "check", "--db", db, "--heads", str(tmp_path / "none")), "expected a file")


def test_the_days_sheet_has_both_heads_in_groups_that_the_check_takes(db: str, tmp_path: Path) -> None:
    target = tmp_path / "day.pdf"
    head = head_of(db)
    said = say("print", "day", "--db", db, "--demo", "--to", str(target))
    assert said.out == f"{target}: record {head}, trail 0:{'0' * 64}\n"
    document = pypdfium2.PdfDocument(target)
    words = document[0].get_textpage().get_text_range()
    document.close()
    assert "record: 2" in words
    groups = [head.partition(":")[2][start : start + 8] for start in range(0, 64, 8)]
    assert all(group in words for group in groups)
    assert say("db", "check", "--db", db, "--head", f"2: {' '.join(groups)}").status == 0


def test_the_record_is_named_by_the_environment_where_the_prompt_does_not(
    db: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert refused(say("db", "check"), "cubital.db: found no such file")
    monkeypatch.setenv("CUBITAL_DB", db)
    assert say("db", "check").status == 0
    assert refused(say("db", "check", "--db", "other.db"), "other.db: found no such file")


def test_a_broken_chain_is_named_by_its_entry_and_ends_with_2(db: str) -> None:
    hands.run(db, "UPDATE event SET body = replace(body, '1000', '2000') WHERE sequence = 1")
    said = say("db", "check", "--db", db, "--json")
    assert refused(said, "cubital: record entry 1: found the hash")
    document = said.documents()[0]
    assert (document["error"], document["sequence"], document["where"]) == ("BrokenChain", 1, "record entry 1")


def test_a_wrong_state_is_named_and_ends_with_2_until_it_is_computed_anew(db: str) -> None:
    hands.run(db, "UPDATE specimen SET state = replace(state, '1000', '2000')")
    said = say("db", "check", "--db", db)
    assert said.out.startswith("error: specimen s1: its kept state is not what its events say")
    assert "the chain is whole, but see above" in said.out
    assert (said.status, say("db", "check", "--db", db, "--json").documents()[0]["sound"]) == (2, False)
    assert say("db", "rebuild", "--db", db) == (0, f"{db}: 1 state computed anew\n", "")
    assert say("db", "rebuild", "--db", db, "--json").documents()[0]["specimens"] == 1
    assert say("db", "check", "--db", db).status == 0


def test_a_cut_record_is_found_against_a_noted_head_or_a_backup(db: str, tmp_path: Path) -> None:
    head, backup = head_of(db), str(tmp_path / "night.db")
    assert say("db", "backup", backup, "--db", db).out == f"wrote {backup}: 2 entries, head {head}\n"
    hands.run(db, "DELETE FROM event WHERE sequence = 2")
    for option in (("--head", head), ("--against", backup)):
        assert refused(say("db", "check", "--db", db, *option), "the record was cut short")


@pytest.mark.parametrize("noted", ["", "12", "x:" + "0" * 64, "1:" + "0" * 63, "1:" + "G" * 64])
def test_a_head_that_is_none_is_refused(db: str, noted: str) -> None:
    assert refused(say("db", "check", "--db", db, "--head", noted), "expected a head as the check prints it")


@pytest.mark.parametrize("options", [(), ("--portable",)])
def test_a_backup_is_restored_once_and_into_nothing_that_has_entries(
    db: str, tmp_path: Path, options: tuple[str, ...]
) -> None:
    backup, target, head = str(tmp_path / "backup"), str(tmp_path / "new.db"), head_of(db)
    said = say("db", "backup", backup, "--db", db, *options, "--json").documents()
    assert said == [{"format": "cubital.record-backup/1", "entries": 2, "head": head, "file": backup}]
    assert refused(say("db", "backup", backup, "--db", db), "a file of this name")
    assert say("db", "restore", backup, "--db", target).out == f"{target}: restored, 2 entries, head {head}\n"
    assert head_of(target) == head
    assert refused(say("db", "restore", backup, "--db", target), "found 2 entries")
    assert refused(say("db", "restore", str(tmp_path / "none"), "--db", target), "expected a file that can be read")


def test_a_person_vouches_for_the_clock_only_where_it_is_behind(db: str) -> None:
    word = ("db", "trust-clock", "--by", "chief", "--station", "reception", "--why", "the year was wrong", "--db", db)
    assert refused(say(*word), "nothing to vouch for")
    record = open_record(db, now=Clock(MORNING.replace(year=2999)))
    record.append(*in_order(collected("s2")))
    record.close()
    said = say(*word)
    assert said.status == 0
    assert said.out.startswith("entry 4: chief vouches for the clock, 2")
    assert say("db", "check", "--db", db).out.endswith("vouched for 1 time\n")
    assert refused(say("db", "trust-clock", "--db", db), "Missing option")


def test_a_database_without_its_library_names_the_command_that_installs_it(
    db: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("cubital.store", cubital.store)  # given back after: one imported here lacks parts
    for name in [name for name in sys.modules if name.startswith(("cubital.store", "sqlalchemy"))]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "sqlalchemy", None)
    said = say("db", "check", "--db", db)
    ways = 'in a checkout run: scripts/setup web; else: pip install "cubital[server]"'
    assert refused(said, f"found no sqlalchemy; the record needs it; {ways}")


def test_a_server_without_its_driver_names_the_command_that_installs_it(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in [name for name in sys.modules if name.startswith("psycopg")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "psycopg", None)
    said = say("db", "check", "--db", "postgresql://user@host/base")
    ways = 'in a checkout run: .venv/bin/pip install -e ".[postgres]"; else: pip install "cubital[postgres]"'
    assert refused(said, f"found no psycopg; PostgreSQL needs it; {ways}")

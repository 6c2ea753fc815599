"""`cubital print`: a PDF or nothing, the patient's data out of a file, and a clear word where a part is missing."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from cubital.paper import surface
from tests.unit.cli.prompt import Said, say
from tests.unit.paper.pdf import codes_of, words_of

DAY = ("--demo", "--on", "2026-11-25", "--printed", "2026-11-25")
WHO = {"name": "Invented, Ottoline", "number": "X-000123", "birth_date": "1992-01-05", "specimens": ["Q1", "Q2", "Q3"]}


@pytest.fixture
def who(tmp_path: Path) -> str:
    path = tmp_path / "who.json"
    path.write_text(json.dumps(WHO), encoding="utf-8")
    return str(path)


def refused(said: Said, words: str) -> None:
    assert said.status == 2
    assert words in said.err
    assert said.out == ""


def test_labels_are_printed_from_a_file_of_who_it_is(who: str, tmp_path: Path) -> None:
    target = tmp_path / "labels.pdf"
    said = say("print", "labels", "PT", "K", "CBC", *DAY, "--age", "34 a", "--who", who, "--to", str(target))
    assert said == Said(0, f"{target}: labels on roll-50x25\n", "")
    pages = codes_of(target.read_bytes())
    assert [page[0][1] for page in pages[1:]] == ["Q1", "Q2", "Q3"]


def test_the_sheet_is_printed_with_and_without_who_it_is_on_either_paper(who: str, tmp_path: Path) -> None:
    target = tmp_path / "sheet.pdf"
    assert say("print", "sheet", "PT", "K", "CBC", *DAY, "--who", who, "--to", str(target)).status == 0
    assert "Ottoline" in words_of(target.read_bytes())[0]
    assert say("print", "sheet", "PT", "K", *DAY, "--paper", "letter", "--to", str(target)).status == 0
    assert "Ottoline" not in words_of(target.read_bytes())[0]


def test_an_order_out_of_a_file_is_printed_as_one_at_the_prompt(tmp_path: Path) -> None:
    order = tmp_path / "order.json"
    order.write_text('{"tests": ["PT", "K"], "on": "2026-11-25"}', encoding="utf-8")
    one, two = tmp_path / "one.pdf", tmp_path / "two.pdf"
    assert say("print", "sheet", "PT", "K", *DAY, "--to", str(one)).status == 0
    options = ("--demo", "--printed", "2026-11-25", "--order", str(order), "--to", str(two))
    assert say("print", "sheet", *options).status == 0
    assert one.read_bytes() == two.read_bytes()


def test_who_may_come_in_and_the_pdf_may_go_out() -> None:
    options = ("labels", "PT", "K", "CBC", *DAY, "--who", "-", "--to", "-")
    said = subprocess.run(
        [sys.executable, "-m", "cubital.cli.main", "print", *options],
        input=json.dumps(WHO).encode(), capture_output=True, check=True,
    )  # fmt: skip
    assert said.stderr == b""
    assert [page[0][1] for page in codes_of(said.stdout)[1:]] == ["Q1", "Q2", "Q3"]


@pytest.mark.parametrize("card", ["order", "tests", "bench"])
def test_each_wall_card_is_printed(card: str, tmp_path: Path) -> None:
    target = tmp_path / "card.pdf"
    assert say("print", "wall", card, "--demo", "--printed", "2026-11-25", "--to", str(target)).status == 0
    assert "Quillmere Hospital (invented)" in words_of(target.read_bytes())[0]


def test_the_stock_is_listed_with_what_each_rests_on() -> None:
    said = say("print", "stock")
    assert said.status == 0
    assert "roll-50x25      roll, 50.8 x 25.4 mm (2 x 1 in) [standard: clsi-auto12 (abstract read)]" in said.out
    assert len(said.out.splitlines()) == 7


def test_what_is_refused_writes_no_file(who: str, tmp_path: Path) -> None:
    target = tmp_path / "none.pdf"
    to = ("--to", str(target))
    refused(say("print", "labels", "PT", *DAY, *to), "--who: found nothing")
    refused(say("print", "labels", "PT", *DAY, "--who", who, *to), "found 3 numbers of specimens; expected 1")
    refused(say("print", "labels", "PT", *DAY, "--who", who, "--invented", *to), "found --invented beside it")
    refused(say("print", "labels", "PT", *DAY, "--invented", "--stock", "roll", *to), "expected one of roll-50x25")
    for paper in ("labels", "sheet"):
        refused(say("print", paper, "PT", "potasium", *DAY, "--invented", *to), "'potasium' (unknown, near potassium)")
    refused(say("print", "labels", "PT", *DAY, "--invented", "--skip", "1", *to), "expected 0 to 0 labels")
    refused(say("print", "sheet", "PT", *DAY, "--paper", "a5", *to), "--paper: found 'a5'; expected a4 or letter")
    refused(say("print", "sheet", "nonsense", *DAY, *to), "nonsense")
    refused(say("print", "sheet", "PT", "--demo", "--printed", "today", *to), "--printed")
    refused(say("print", "sheet", "PT", *DAY, "--order", "-", *to), "--order: found tests beside it")
    refused(say("print", "sheet", *DAY, "--order", "-", "--who", "-", *to), "--who")
    refused(say("print", "wall", "calendar", "--demo", *to), "expected one of order, tests, bench")
    refused(say("print", "labels", "PT", *DAY, "--who", str(tmp_path / "nobody.json"), *to), "nobody.json")
    assert not target.exists()


def test_a_place_that_cannot_be_written_is_refused(tmp_path: Path) -> None:
    target = tmp_path / "no" / "such" / "folder.pdf"
    refused(say("print", "wall", "order", "--demo", "--to", str(target)), "--to: found No such file or directory")


def test_without_the_library_the_command_to_install_it_is_named(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    for name in [name for name in sys.modules if name.split(".")[0] == "reportlab"]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "reportlab", None)
    surface._register.cache_clear()
    surface._letters.cache_clear()
    target = tmp_path / "none.pdf"
    ways = 'in a checkout run: scripts/setup web; else: pip install "cubital[paper]"'
    refused(say("print", "labels", "PT", *DAY, "--invented", "--to", str(target)), ways)
    refused(say("print", "wall", "order", "--demo", "--to", str(target)), ways)
    assert not target.exists()


def test_help_reads_no_library_of_paper() -> None:
    code = "import sys; from cubital.cli.main import status_of; status_of(['print', 'labels', '--help']); " \
        "print([n for n in sys.modules if n.split('.')[0] in ('reportlab', 'PIL', 'msgspec')])"  # fmt: skip
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=os.environ, check=True)
    assert said.stdout.splitlines()[-1] == "[]"

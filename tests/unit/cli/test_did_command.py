"""did at the prompt: what was done is written down once, and the board goes on from it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from cubital.app.wiring import upgrade_store
from tests.unit.cli.prompt import Said, say


@pytest.fixture
def db(tmp_path: Path) -> str:
    address = str(tmp_path / "record.db")
    upgrade_store(address)
    order = tmp_path / "order.json"
    order.write_text(json.dumps({"id": "O-9", "tests": ["K", "Na"], "patient": {"age": "34 a", "weight_kg": 62}}))
    said = say(
        "collect", str(order), "--db", address, "--demo", "--at", "2026-11-25 09:40", "--prefix", "D7", "--patient",
        "P-17", "--by", "collector-4", "--irreplaceable", "bleeding, 900 g",
    )  # fmt: skip
    assert said.status == 0
    return address


def did(db: str, *words: str, at: str = "2026-11-25 10:30") -> Said:
    return say("did", *words, "--db", db, "--demo", "--by", "bench-1", "--at", at)


def receive(db: str, *more: str) -> Said:
    return say(
        "receive", "D7-1", "--db", db, "--demo", "--looked", "--by", "bench-1", "--at", "2026-11-25 10:05", *more
    )


def test_a_tube_goes_from_receipt_to_its_discard(db: str) -> None:
    assert receive(db, "--identifiers", "2").status == 0
    run = ("spun", "D7-1", "--rcf", "1800", "--min", "10", "--temp", "21")
    assert "spun 2026-11-25 10:30 (1800 g, 10 min, 21 C); waits for potassium, sodium" in did(db, *run).out
    assert "recorded before; nothing was written twice" in did(db, *run, at="2026-11-25 10:33").out
    board = say("board", "--db", db, "--demo", "--at", "2026-11-25 10:35").out
    assert "test" in board
    assert "spin" not in board
    assert did(db, "poured", "D7-1", "--into", "D7-1a", "--ml", "0.2", "--test", "K").status == 0
    stored = did(db, "stored", "D7-1a", "--in", "cold").out
    assert "D7-1a  200 uL left, spun 2026-11-25 10:30 (1800 g, 10 min, 21 C), cold since" in stored
    assert "190 uL left" in did(db, "reported", "D7-1a", "K", "--ml", "0.01", at="2026-11-25 11:00").out
    assert "thrown away 2026-11-25 11:30" in did(db, "discarded", "D7-1", "--why", "broken", at="2026-11-25 11:30").out
    (told,) = did(db, "stored", "D7-1a", "--in", "frozen", "--json", at="2026-11-25 12:00").documents()
    assert told["format"] == "cubital.did/1"


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (("spun", "D7-1", "--rcf", "0", "--min", "10", "--temp", "20"), "0 g"),
        (("spun", "D7-1", "--rcf", "1500", "--min", "nan", "--temp", "20"), "expected a finite number"),
        (("spun", "D7-1", "--rcf", "1500", "--min", "0.001", "--temp", "20"), "found 0 s"),
        (("poured", "D7-1", "--into", "x", "--ml", "-1"), "-1"),
        (("poured", "D7-1", "--into", "D7-1", "--ml", "0.1"), "a new name"),
        (("poured", "D7-1", "--into", "x", "--ml", "50"), "at most the"),
        (("reported", "D7-1", "K"), "no verdict"),
        (("reported", "D7-1", "glucose"), "glucose reported"),
        (("stored", "D9", "--in", "cold"), "found no specimen"),
        (("discarded", "D7-1", "--why", " "), "why it was thrown away"),
    ],
)
def test_what_cannot_have_been_done_is_refused(db: str, words: tuple[str, ...], complaint: str) -> None:
    said = did(db, *words)
    assert said.status == 2
    assert complaint in said.err


def test_a_deed_before_the_draw_or_ahead_of_the_clock_is_refused(db: str) -> None:
    assert "an instant after its collection" in did(db, "stored", "D7-1", "--in", "cold", at="2026-11-25 09:00").err
    assert "ahead of it" in did(db, "stored", "D7-1", "--in", "cold", at="2999-01-01 09:00").err


def test_what_was_said_to_be_irreplaceable_can_be_excused_by_two_people(db: str) -> None:
    said = receive(db, "--identifiers", "2", "--expired", "--second", "bench-2", "--why", "no second draw", "--json")
    assert said.status == 0
    assert "cannot be drawn again (bleeding, 900 g); bench-1 and bench-2: no second draw" in said.out


def test_a_run_written_with_other_figures_stays_and_says_what_to_do(db: str) -> None:
    receive(db, "--identifiers", "2")
    did(db, "spun", "D7-1", "--rcf", "1800", "--min", "10", "--temp", "21")
    said = did(db, "spun", "D7-1", "--rcf", "1900", "--min", "10", "--temp", "21")
    assert (said.status, said.out) == (2, "")
    assert "written already, with other figures, words or person" in said.err
    assert "give it a --key of its own" in said.err

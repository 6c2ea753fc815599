"""collect at the prompt: what a plan drew goes into the record once, and is on the board from then on."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from cubital.app.wiring import open_record, upgrade_store
from tests.unit.cli.prompt import Said, say

WHO = ("--prefix", "D7", "--patient", "P-17", "--by", "collector-4")


@pytest.fixture
def db(tmp_path: Path) -> str:
    address = f"sqlite:///{tmp_path}/record.db"
    upgrade_store(address)
    return address


@pytest.fixture
def order(tmp_path: Path) -> str:
    path = tmp_path / "order.json"
    path.write_text(
        json.dumps(
            {
                "id": "O-9",
                "tests": ["PT", "K", "CBC"],
                "access": "winged-set",
                "patient": {"age": "34 a", "weight_kg": 62, "hematocrit": 0.41, "flags": ["anticoagulated"]},
            }
        )
    )
    return str(path)


def collect(order: str, db: str, *more: str) -> Said:
    return say("collect", order, "--db", db, "--demo", "--at", "2026-11-25 09:40", *WHO, *more)


def one(said: Said) -> dict[str, Any]:
    (found,) = said.documents()
    assert isinstance(found, dict)
    return found


def test_every_tube_but_the_discard_becomes_a_specimen(order: str, db: str) -> None:
    planned = one(say("plan", "--order", order, "--on", "2026-11-25", "--demo", "--json"))
    told = one(collect(order, db, "--json"))
    drawn = [tube for tube in planned["tubes"] if tube["purpose"] != "discard"]
    assert len(drawn) < len(planned["tubes"])
    assert [(s["specimen"], s["kind"], s["tests"]) for s in told["specimens"]] == [
        (f"D7-{tube['position']}", tube["kind"], tube["tests"]) for tube in drawn
    ]
    assert (told["format"], told["repeat"]) == ("cubital.collect/1", False)


def test_the_record_holds_what_the_plan_and_the_order_say(order: str, db: str) -> None:
    collect(order, db)
    record = open_record(db)
    specimens = {specimen.id: specimen for specimen in record.specimens_of("P-17")}
    record.close()
    citrate = next(specimen for specimen in specimens.values() if "prothrombin-time" in specimen.tests)
    assert (citrate.order, float(citrate.hematocrit or 0), citrate.anticoagulated) == ("O-9", 0.41, True)
    assert {specimen.access for specimen in specimens.values()} == {"winged-set"}
    assert citrate.collected_at.isoformat() == "2026-11-25T08:40:00+00:00"
    assert 0 < citrate.left_ul < citrate.draw_ul


def test_a_retry_doubles_nothing_even_at_another_time(order: str, db: str) -> None:
    first = one(collect(order, db, "--json"))
    again = one(say("collect", order, "--db", db, "--demo", "--at", "2026-11-25 09:55", *WHO, "--json"))
    assert again["repeat"]
    assert again["specimens"] == first["specimens"]
    assert "recorded before" in collect(order, db).out


def test_what_was_collected_is_on_the_board(order: str, db: str) -> None:
    collect(order, db)
    said = say("board", "--db", db, "--demo", "--at", "2026-11-25 09:41")
    assert "D7-2" in said.out


@pytest.mark.parametrize(
    ("more", "told"),
    [
        (("--draw", "2"), "found no specimen in draw 2"),
        (("--by", " "), "--by: found nothing"),
        (("--prefix", ""), "--prefix: found nothing"),
    ],
)
def test_what_cannot_be_collected_is_refused_and_nothing_is_written(
    order: str, db: str, more: tuple[str, ...], told: str
) -> None:
    said = collect(order, db, *more)
    assert said.status == 2
    assert told in said.err
    record = open_record(db)
    assert record.specimens_of("P-17") == ()
    record.close()


def test_nothing_is_collected_of_an_order_before_each_word_is_settled(order: str, db: str) -> None:
    path = Path(order)
    asked = json.loads(path.read_text())
    path.write_text(json.dumps({**asked, "tests": ["PT", "potasium", "troponin"]}))
    said = collect(order, db, "--json")
    assert said.status == 2
    assert one(said)["error"] == "UnsettledWords"
    assert one(said)["words"] == ["potasium", "troponin"]
    assert "'potasium' (unknown, near potassium); 'troponin' (ambiguous, one of troponin-t, troponin-i)" in said.err
    assert "write the one meant, take the word out, or add it to the tests of the site, and plan again" in said.err
    record = open_record(db)
    assert record.specimens_of("P-17") == ()
    record.close()
    path.write_text(json.dumps({**asked, "tests": ["PT", "potassium", "troponin-t"]}))
    assert collect(order, db).status == 0


def test_many_orders_at_once_are_refused(tmp_path: Path, db: str) -> None:
    path = tmp_path / "none.json"
    path.write_text("{}")
    assert collect(str(path), db).status == 2


def test_an_order_without_a_day_is_planned_for_the_day_of_the_collection(tmp_path: Path, db: str) -> None:
    # Born on the day of the collection: by this machine's day the patient is older, or not born yet.
    path = tmp_path / "newborn.json"
    path.write_text(json.dumps({"tests": ["K"], "patient": {"birth_date": "2026-11-25", "weight_kg": 3.2}}))
    asked = ("--db", db, "--demo", "--prefix", "N1", "--patient", "P-18", "--by", "collector-4")
    assert say("collect", str(path), *asked, "--at", "2026-11-24 23:30").status == 2
    assert say("collect", str(path), *asked, "--at", "2026-11-25 09:40").status == 0


def test_a_prefix_that_names_other_tubes_is_refused_by_its_name_and_one_used_again_is_told(order: str, db: str) -> None:
    collect(order, db)
    other = say("collect", order, "--db", db, "--demo", "--at", "2026-11-25 09:40",
                "--prefix", "D7", "--patient", "P-18", "--by", "collector-4")  # fmt: skip
    assert (other.status, other.out) == (2, "")
    assert "--prefix D7 names other tubes already" in other.err
    assert "another draw needs another --prefix than D7" in collect(order, db).out


CHILD = ("--age", "2 a", "--weight-kg", "10", "--demo")


def drawn_today(order: str, db: str) -> None:
    """What the order draws, as of now."""
    assert say("collect", order, "--db", db, "--demo", *WHO).status == 0


def test_a_plan_counts_what_is_on_record_of_the_patient(order: str, db: str) -> None:
    drawn_today(order, db)
    before = one(say("plan", "CBC", *CHILD, "--json"))["totals"]
    told = one(say("plan", "CBC", *CHILD, "--json", "--patient", "P-17", "--db", db))
    # The citrate tube thrown away first is no specimen, so it is not among what the record has.
    tubes = one(say("plan", "--order", order, "--demo", "--json"))["tubes"]
    ml = sum(tube["draw_ml"] for tube in tubes if tube["purpose"] == "collect")
    assert before["already_drawn_ml"] == 0
    assert told["totals"]["already_drawn_ml"] == ml
    assert any(reason["text"].startswith(f"drawn before: {ml:g} mL in the last 24 h") for reason in told["reasons"])


def test_what_was_said_at_the_prompt_goes_before_the_record_and_both_are_told(order: str, db: str) -> None:
    drawn_today(order, db)
    said = say("plan", "CBC", *CHILD, "--drawn-ml", "2", "--patient", "P-17", "--db", db)
    assert "drawn before: 2 mL as it was said, which is taken; 4.9 mL" in " ".join(said.out.split())


def test_an_order_of_a_file_is_told_to_be_completed_before_it_is_collected(
    order: str, db: str, tmp_path: Path
) -> None:
    drawn_today(order, db)
    said = say("plan", "--order", order, "--demo", "--patient", "P-17", "--db", db)
    assert said.status == 0
    assert "write it into the order before cubital collect" in said.err
    assert say("plan", "CBC", *CHILD, "--patient", "P-17", "--db", db).err == ""


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("plan", "CBC", "--patient", "P-99"), "found no specimen of this patient"),
        (("plan", "--orders", "many.jsonl", "--patient", "P-17"), "expected one"),
        (("bloodvolume", "--patient", "P-99"), "found no specimen of this patient"),
        (("bloodvolume", "--patient", "P-17", "--draws", "stay.json"), "found --draws beside it"),
    ],
)
def test_a_patient_that_cannot_be_meant_is_refused(
    arguments: tuple[str, ...], words: str, order: str, db: str
) -> None:
    drawn_today(order, db)
    said = say(*arguments, "--db", db, "--demo")
    assert said.status == 2
    assert words in said.err
    assert "P-99" not in said.err


def test_bloodvolume_adds_up_what_is_on_record(order: str, db: str) -> None:
    drawn_today(order, db)
    options = ("--demo", "--age", "2 a", "--weight-kg", "10", "--limit", "hospital-2-5-percent", "--db", db)
    found = one(say("bloodvolume", *options, "--patient", "P-17", "--json"))
    assert found["total_ul"] == 4900
    assert [cap["heaviest_ul"] for cap in found["caps"]] == [4900, 4900]
    assert found["savings"]

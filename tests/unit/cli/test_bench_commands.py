"""board, receive, addon and redraw at the prompt, on a file and on a record."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any
from unittest import mock

import pytest

from cubital.app.wiring import open_record, upgrade_store
from tests.contract.events import MORNING, collected, in_order
from tests.unit.cli.prompt import Said, say

FILE = str(Path(__file__).parents[2] / "data" / "specimens" / "good.json")
ON_FILE = ("--specimens", FILE, "--demo", "--at", "2026-11-25 08:58")
LOOKED = ("--identifiers", "2", "--looked")


def one(said: Said) -> dict[str, Any]:
    (found,) = said.documents()
    assert isinstance(found, dict)
    return found


def test_the_board_says_what_is_late_due_lost_and_to_be_saved() -> None:
    said = say("board", *ON_FILE)
    assert said.status == 1
    assert "Board at 2026-11-25 08:58, strict policy: 1 late" in said.out
    assert "LATE  08:50        8 min ago    T1          deliver at once" in said.out
    assert "troponin-i can be saved: take it off the cells by 09:00" in said.out
    assert "T5: ammonia" in said.out
    assert said.err == "cubital: good.json note: nothing reads it\n"


def test_the_board_needs_no_colour() -> None:
    assert "\x1b" not in say("board", *ON_FILE).out


def test_the_board_as_json_states_the_same() -> None:
    told = one(say("board", *ON_FILE, "--json"))
    assert told["format"] == "cubital.board/1"
    assert {entry["specimen"] for entry in told["lost"]} == {"T3", "T4", "T5"}
    assert told["lines"][0]["urgency"] == "late"


def test_the_board_shows_everything_of_one_specimen() -> None:
    said = say("board", *ON_FILE, "--specimen", "T4")
    assert said.status == 1
    assert "late         08:35        08:35        spin" in said.out
    assert "frozen   to 02-23 08:58 (off the cells frozen: 90 d)" in said.out
    told = one(say("board", *ON_FILE, "--specimen", "T4", "--json"))
    assert told["format"] == "cubital.clock/1"
    assert [window["step"] for window in told["windows"]] == ["mix", "clot", "deliver", "spin", "test", "test"]
    assert {(keep["test"], keep["storage"]) for keep in told["keeps"]} == {
        (test, storage) for test in ("thyrotropin", "insulin") for storage in ("ambient", "cold", "frozen")
    }
    assert say("board", *ON_FILE, "--specimen", "T404").status == 2


def test_the_board_is_live_for_as_many_looks_as_asked() -> None:
    with mock.patch("time.sleep") as slept:
        said = say("board", *ON_FILE, "--live", "--looks", "3", "--every", "7", "--json")
    assert len(said.documents()) == 3
    assert [call.args for call in slept.call_args_list] == [(7,), (7,)]


def test_the_board_shows_as_many_lines_as_asked_and_says_how_many_more() -> None:
    said = say("board", *ON_FILE, "--most", "1")
    assert "more; --most shows them" in said.out


def test_the_extended_policy_keeps_what_the_strict_one_gives_up() -> None:
    strict = one(say("board", *ON_FILE, "--json"))
    extended = one(say("board", *ON_FILE, "--json", "--policy", "extended"))
    lost = [{e["specimen"]: e["tests"] for e in told["lost"]} for told in (strict, extended)]
    assert lost[0]["T3"] == ["activated-partial-thromboplastin-time"]
    assert "T3" not in lost[1]


def test_a_receipt_prints_each_verdict_with_its_wording_and_its_source() -> None:
    said = say("receive", "T1", *ON_FILE, *LOOKED, "--hemolysis", "0.55")
    assert said.status == 0
    assert "COMMENT  potassium" in said.out
    assert "published: hemolysis-letter (read)" in said.out
    assert "nothing was recorded" in said.out


def test_what_is_not_known_of_an_index_is_printed_once_with_its_tests_and_a_document_says_it_too() -> None:
    asked = ("receive", "T1", *ON_FILE, *LOOKED, "--hemolysis", "0.55", "--lipemia", "2")
    said = say(*asked)
    assert "of potassium, sodium, troponin-i:" in said.out
    assert said.out.count("no limit is known: lipemia 2.") == 1
    assert said.out.count("no limit is known: hemolysis 0.55 g/L.") == 1
    told = one(say(*asked, "--json"))
    assert [(row["wording"].rpartition(": ")[2], row["tests"]) for row in told["unknown"]] == [
        ("lipemia 2.", ["potassium", "sodium", "troponin-i"]), ("hemolysis 0.55 g/L.", ["troponin-i"]),
    ]  # fmt: skip
    assert all("lipemia 2." in row["wording"] for row in told["tests"])


def test_a_label_that_nobody_compared_refuses_everything() -> None:
    said = say("receive", "T1", *ON_FILE, "--looked")
    assert said.status == 1
    assert said.out.count("REFUSE") == 3
    assert "nobody compared the label with the order" in " ".join(said.out.split())


def test_what_is_not_said_and_not_looked_at_is_named() -> None:
    said = say("receive", "T1", *ON_FILE, "--identifiers", "2")
    assert said.status == 0
    assert "COMMENT  sodium" in said.out
    assert "Not stated at receipt" in said.out


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--differ", "1"), "The label differs from the order"),
        (("--labels", "2"), "two labels that were not found to agree"),
        (("--labels", "2", "--labels-agree"), "both were read and agree"),
        (("--no-time",), "time of collection is not on the label"),
        (("--no-collector",), "collector is not on the label"),
        (("--expired",), "past its date"),
        (("--clotted",), "has clotted"),
        (("--leaked",), "had leaked"),
        (("--fill", "80"), "filled to 80 %"),
        (("--came", "cold"), "temperature that spoils"),
        (("--usable-ml", "0.01"), "not enough of the specimen"),
    ],
)
def test_each_thing_seen_has_its_word(options: tuple[str, ...], words: str) -> None:
    said = say("receive", "T3", *ON_FILE[:-1], "2026-11-25 05:30", *LOOKED, *options)
    assert words in " ".join(said.out.split())


def test_an_index_with_a_unit_is_refused() -> None:
    said = say("receive", "T1", *ON_FILE, *LOOKED, "--hemolysis", "1 g/L")
    assert said.status == 2
    assert "--hemolysis" in said.err


def test_an_exception_at_the_prompt_needs_two_people() -> None:
    late = ("receive", "T9", "--specimens", FILE, "--demo", "--at", "2026-11-25 10:00", *LOOKED, "--by", "ann")
    assert say(*late).status == 1
    alone = say(*late, "--second", "Ann", "--why", "asked")
    assert (alone.status, "expected two different ones" in alone.err) == (2, True)
    two = say(*late, "--second", "ben", "--why", "the ward asked")
    assert two.status == 0
    assert "it cannot be replaced" in " ".join(two.out.split())


def test_a_specimen_with_nothing_left_to_judge_says_so() -> None:
    said = say("receive", "T7", *ON_FILE, *LOOKED)
    assert said.status == 0
    assert "no test of it waits" in said.out


def test_an_addon_says_yes_with_what_is_left_or_why_not_and_plans_the_rest() -> None:
    said = say("addon", "creatinine", "LD", "A1c", "--patient", "P1", *ON_FILE)
    assert said.status == 1
    assert "hemoglobin-a1c: yes, T2; takes 5 uL" in said.out
    assert "no age and no storage of a kept specimen is known to serve it" in " ".join(said.out.split())
    assert "no choice of what is there needs a smaller draw" in said.out
    assert "1 tube, " in said.out


def test_an_addon_that_needs_no_draw_is_status_zero() -> None:
    said = say("addon", "A1c", "--patient", "P1", *ON_FILE, "--json")
    assert said.status == 0
    told = one(said)
    assert (told["format"], told["plan"], told["drawn"]) == ("cubital.addon/1", None, [])


def test_a_redraw_takes_the_refused_tests_and_plans_them() -> None:
    said = say("redraw", "--patient", "P4", *ON_FILE, "--json")
    assert said.status == 0
    told = one(said)
    assert told["format"] == "cubital.redraw/1"
    assert told["drawn"] == ["prothrombin-time"]
    assert told["plan"]["tubes"][0]["kind"] == "citrate"


def test_what_is_drawn_again_is_drawn_on_the_day_of_the_instant_asked_for() -> None:
    at = (*ON_FILE[: ON_FILE.index("--at") + 1], "2031-07-09 23:30")
    for command in (("addon", "LD", "--patient", "P1"), ("redraw", "--patient", "P4")):
        assert ", 2031-07-09;" in " ".join(say(*command, *at).out.split())


def test_a_redraw_of_nothing_refused_is_said() -> None:
    said = say("redraw", "--patient", "P1", *ON_FILE)
    assert said.status == 2
    assert "no refused test" in said.err


def test_a_patient_and_a_specimen_that_are_not_there_are_refused_without_their_name_in_json() -> None:
    said = say("addon", "K", "--patient", "SECRET", *ON_FILE, "--json")
    assert said.status == 2
    assert "SECRET" not in said.out + said.err
    assert one(said)["error"] == "RecordError"


def test_a_file_that_is_none_is_refused(tmp_path: Path) -> None:
    bad = tmp_path / "x.json"
    bad.write_text("[]")
    assert say("board", "--specimens", str(bad), "--demo").status == 2


@pytest.fixture
def address(tmp_path: Path) -> str:
    """A record with one tube drawn this morning of the tests."""
    found = str(tmp_path / "record.db")
    upgrade_store(found)
    record = open_record(found)
    record.append(*in_order(collected("T1", patient="p", tests=("potassium", "sodium"))))
    record.close()
    return found


def on(address: str, minutes: int) -> tuple[str, ...]:
    return ("--db", address, "--at", f"2026-03-02 {7 + minutes // 60:02}:{minutes % 60:02}")


def test_the_commands_work_on_the_record_and_a_retry_writes_nothing_twice(address: str) -> None:
    assert MORNING.hour == 7
    assert "T1" in say("board", *on(address, 10)).out
    first = say("receive", "T1", *on(address, 20), *LOOKED, "--by", "ann", "--json")
    assert (first.status, one(first)["recorded"], one(first)["repeat"]) == (0, True, False)
    again = one(say("receive", "T1", *on(address, 21), *LOOKED, "--by", "ann", "--json"))
    assert (again["repeat"], again["at"]) == (True, "2026-03-02T07:20:00Z")
    booked = one(
        say("addon", "creatinine", "--patient", "p", *on(address, 30), "--book", "--key", "a1", "--by", "ann", "--json")
    )
    assert booked["added"] == [{"specimen": "T1", "tests": ["creatinine"]}]
    repeat = one(
        say("addon", "creatinine", "--patient", "p", *on(address, 31), "--book", "--key", "a1", "--by", "ann", "--json")
    )
    assert repeat["repeat"] is True
    entries = one(say("db", "check", "--db", address, "--json"))
    assert entries["entries"] == 5


def test_booking_asks_for_the_record_and_a_key(address: str) -> None:
    assert say("addon", "K", "--patient", "p", *on(address, 30), "--book").status == 2
    assert say("addon", "K", "--patient", "P1", *ON_FILE, "--book", "--key", "k").status == 2


def test_the_record_asks_who_does_it(address: str) -> None:
    nobody = say("receive", "T1", *on(address, 20), *LOOKED)
    assert (nobody.status, "--by: found nobody" in nobody.err) == (2, True)
    assert say("addon", "creatinine", "--patient", "p", *on(address, 30), "--book", "--key", "k").status == 2
    assert one(say("db", "check", "--db", address, "--json"))["entries"] == 1


def test_help_of_each_command_says_what_it_does() -> None:
    for command in ("board", "receive", "addon", "redraw"):
        said = say(command, "--help")
        assert said.status == 0
        assert "--specimens" in said.out


def test_a_day_of_another_year_is_said_with_its_year_where_it_is_far_and_columns_stay_apart(tmp_path: Path) -> None:
    tube = {
        "patient": "P1", "kind": "edta", "matrix": "whole-blood", "tests": ["CBC"], "draw_ml": 3, "usable_ml": 2.8,
    }  # fmt: skip
    drawn = {"near": "2026-12-31 23:50", "far": "2028-02-29 07:00"}
    rows = [{**tube, "id": id, "collected_at": at} for id, at in drawn.items()]
    path = tmp_path / "years.json"
    path.write_text(json.dumps({"format": "cubital.specimens/1", "specimens": rows}))
    said = say("board", "--specimens", str(path), "--demo", "--at", "2026-12-31 23:55").out
    assert "01-01 23:50  in 23.9 h" in said
    assert "from 2028-02-29 07:00 in 424.2 d" in said

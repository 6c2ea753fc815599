"""The commands: what they answer, what they refuse, and with which status."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.unit.cli.prompt import say

FHIR = Path(__file__).parents[2] / "data" / "fhir-r4"


def test_options_may_stand_before_or_after_the_names() -> None:
    before = say("plan", "--demo", "--json", "--age", "4 a", "K", "PT")
    after = say("plan", "K", "PT", "--age", "4 a", "--json", "--demo")
    assert before == after
    assert before.status == 0
    assert [tube["tests"] for tube in before.documents()[0]["tubes"]] == [["prothrombin-time"], ["potassium"]]


def test_every_option_of_the_patient_reaches_the_plan() -> None:
    said = say(
        "plan", "PT", "--demo", "--json", "--age", "61 a", "--sex", "female", "--weight-kg", "70", "--height-cm", "165",
        "--hematocrit", "0.60", "--drawn-ml", "20", "--flag", "latex", "--flag", "faints", "--access", "winged-set",
        "--objective", "least-blood", "--stat",
    )  # fmt: skip
    (plan,) = said.documents()
    assert plan["access"] == "winged-set"
    assert plan["objective"] == "least-blood"
    assert plan["totals"]["already_drawn_ml"] == 20
    assert plan["totals"]["limit_ml"] == 102.463
    cautions = " ".join(caution["text"] for caution in plan["cautions"])
    for word in ("Latex", "fainted", "Hematocrit above 0.55"):
        assert word in cautions
    assert any("hematocrit 0.60, measured" in reason["text"] for reason in plan["reasons"])


def test_the_dead_space_of_a_line_sets_its_discard() -> None:
    said = say("plan", "K", "--demo", "--json", "--access", "line", "--dead-space-ml", "1")
    first = said.documents()[0]["tubes"][0]
    assert (first["purpose"], first["draw_ml"]) == ("discard", 2)
    refused = say("plan", "K", "--dead-space-ml", "1")
    assert refused.status == 2
    assert 'expected it with access "line" only' in refused.err


def test_the_culture_of_an_infected_line_keeps_its_first_blood_and_another_lumen_is_cleared() -> None:
    words = ("plan", "blood culture", "K", "--demo", "--json", "--access", "line", "--dead-space-ml", "1")
    assert say(*words).documents()[0]["tubes"][0]["purpose"] == "discard"
    kept = say(*words, "--line-infection").documents()[0]["tubes"]
    assert kept[0]["purpose"] == "culture"
    refused = say("plan", "blood culture", "--demo", "--line-infection")
    assert refused.status == 2
    assert 'expected it with access "line" only' in refused.err


def test_an_ambiguous_name_is_asked_back_with_its_choices() -> None:
    said = say("plan", "troponin", "--demo")
    assert said.status == 2
    assert said.out == ""
    assert "troponin-t                       troponin T" in said.err
    assert "troponin-i                       troponin I" in said.err


def test_an_unknown_name_is_refused_with_near_misses() -> None:
    said = say("plan", "potasium", "--json")
    assert said.status == 2
    assert "potassium" in said.err
    (document,) = said.documents()
    assert (document["format"], document["error"]) == ("cubital.error/1", "UnknownTest")
    assert document["near"][0] == "potassium"


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["plan"], "found no tests"),
        (["plan", ""], "printable text"),
        (["plan", "K", "k"], "each test once"),
        (["plan", "K", "potassium"], "are the same"),
        (["plan", "K", "--hematocrit", "45"], "write 0.45"),
        (["plan", "K", "--hematocrit", "0.45 %"], "0.05 to 0.85"),
        (["plan", "K", "--hematocrit", "nan"], "0.05 to 0.85"),
        (["plan", "K", "--weight-kg", "18000", "--age", "4 a"], "if that is grams, write 18"),
        (["plan", "K", "--weight-kg", "-3"], "kilograms from"),
        (["plan", "K", "--weight-kg", "9" * 30], "weight_kg"),
        (["plan", "K", "--age", "4"], "UCUM unit of age"),
        (["plan", "K", "--age", "4 a", "--birth-date", "2022-01-01"], "one of the two"),
        (["plan", "K", "--birth-date", "2999-01-01"], "birth date in the future"),
        (["plan", "K", "--birth-date", "yesterday"], "day of the calendar"),
        (["plan", "K", "--sex", "x"], "one of female, male"),
        (["plan", "K", "--access", "wing"], "winged-set"),
        (["plan", "K", "--objective", "least"], "least-blood"),
        (["plan", "K", "--drawn-ml", "-1"], "millilitres from 0"),
        (["plan", "K", "--on", "2026-02-30"], "day of the calendar"),
        (["plan", "K", "--order", "x.json"], "whole order in one place"),
        (["plan", "--orders", "x", "--order", "y"], "whole order in one place"),
        (["plan", "--order", "x", "--weight-kg", "3"], "--weight-kg"),
        (["plan", "--order", "/nowhere/x.json"], "can be read"),
        (["plan", "--orders", "/nowhere/x.jsonl"], "can be read"),
        (["plan", "--order", "/"], "can be read"),
        (["plan", "--orders", "/"], "can be read"),
        (["plan", "--order", "-"], "found nothing"),
        (["plan", "--orders", "-"], "found no order"),
        (["plan", "K", "--site", "/nowhere"], "no such folder"),
        (["plan", "K", "--site", "x", "--demo"], "expected one site"),
        (["plan", "K", "--nonsense"], "No such option"),
        (["plan", "K", "--age=4 a", "--age"], "requires an argument"),
        (["plann", "K"], "No such command"),
        (["plan", "ABG", "--demo"], "none of these can be filled by straight-needle"),
        (["explain"], "Missing argument"),
        (["explain", "no such thing"], "expected a test or panel"),
        (["find"], "Missing argument"),
        (["find", "K", "--most", "0"], "not in the range"),
        (["site", "check", "/nowhere", "--json"], ""),
        (["site", "new"], "Missing argument"),
        (["plan", *(f"test {n}" for n in range(1000))], "at most 250"),
        (["plan", "x" * 100_000], "printable text"),
        (["plan", "K\x1b[2J"], "printable text"),
    ],
)  # fmt: skip
def test_bad_input_is_refused_with_its_place_and_nothing_is_planned(arguments: list[str], message: str) -> None:
    said = say(*arguments)
    assert said.status == 2
    assert message in said.err
    assert "internal" not in said.err
    assert "\x1b" not in said.err
    assert "cubital.plan/1" not in said.out
    if "--json" not in arguments:
        as_json = say(arguments[0], "--json", *arguments[1:]) if arguments[0] != "site" else None
        if as_json is not None:
            assert as_json.status == 2
            (document,) = as_json.documents()
            assert document["format"] == "cubital.error/1"
            assert document["message"]


def test_the_published_fhir_requests_plan_and_the_scan_is_refused() -> None:
    for name, test in (("lipid", "cholesterol"), ("ft4", "free-thyroxine")):
        said = say("plan", "--json", "--order", str(FHIR / f"servicerequest-example-{name}.json"), "--demo")
        assert said.status == 0, said.err
        (plan,) = said.documents()
        assert any(test in key for tube in plan["tubes"] for key in tube["tests"]), plan["tubes"]
        assert any("is past: planned for" in caution["text"] for caution in plan["cautions"])
    said = say("plan", "--json", "--demo", "--order", str(FHIR / "servicerequest-example.json"))
    assert said.status == 2
    assert said.documents()[0]["error"] == "NotBloodTest"


def test_a_bundle_of_two_patients_gives_two_plans_or_none() -> None:
    def entry(number: int, code: str) -> dict[str, object]:
        return {
            "resource": {
                "resourceType": "ServiceRequest", "status": "active", "intent": "order", "id": f"r{number}",
                "subject": {"reference": f"Patient/{number}"},
                "code": {"coding": [{"system": "http://loinc.org", "code": code}]},
            }
        }  # fmt: skip

    def bundle(*codes: str) -> bytes:
        entries = [entry(number, code) for number, code in enumerate(codes)]
        return json.dumps({"resourceType": "Bundle", "type": "collection", "entry": entries}).encode()

    good = say("plan", "--order", "-", "--json", stdin=bundle("2823-3", "2951-2"))
    assert [plan["id"] for plan in good.documents()] == ["r0", "r1"]
    assert say("plan", "--order", "-", stdin=bundle("2823-3", "2951-2")).out.count("1 tube,") == 2
    bad = say("plan", "--order", "-", "--json", stdin=bundle("2823-3", "99999-9"))
    assert bad.status == 2
    assert [document["format"] for document in bad.documents()] == ["cubital.error/1"]


def test_a_word_that_nobody_knows_does_not_stop_the_rest() -> None:
    said = say("plan", "K", "potasium", "troponin", "urine culture", "CBC", "--demo")
    assert said.status == 3
    assert said.out.startswith("NOT ALL: 3 words not settled. Take nothing yet. The rest: 2 tubes")
    words = " ".join(said.out.split())
    assert "UNSETTLED 'potasium' (tests[1]): no test or panel of this site goes by this name; near: potassium" in words
    assert "UNSETTLED 'troponin' (tests[2]): this name stands for several tests; one of: troponin-t" in words
    assert "UNSETTLED 'urine culture' (tests[3]): found 'urine culture', which asks for urine" in words


def test_the_document_of_such_a_plan_lists_each_word_with_its_trouble_and_what_it_may_mean() -> None:
    said = say("plan", "K", "potasium", "troponin", "urine culture", "pale blue", "--demo", "--json")
    assert said.status == 3
    (plan,) = said.documents()
    assert plan["format"] == "cubital.plan/1"
    found = [(one["word"], one["where"], one["trouble"]) for one in plan["unsettled"]]
    assert found == [
        ("potasium", "tests[1]", "unknown"), ("troponin", "tests[2]", "ambiguous"),
        ("urine culture", "tests[3]", "not-blood"), ("pale blue", "tests[4]", "unknown"),
    ]  # fmt: skip
    assert plan["unsettled"][0]["near"] == ["potassium"]
    assert plan["unsettled"][1]["choices"] == ["troponin-t", "troponin-i"]
    assert plan["unsettled"][3]["looks"] == ["citrate"]
    assert [tube["tests"] for tube in plan["tubes"]] == [["potassium"]]
    assert plan["cautions"][0]["level"] == "stop"
    assert "tests[1]: found 'potasium'" in said.err
    assert say("plan", "K", "--demo", "--json").documents()[0]["unsettled"] == []


@pytest.mark.parametrize(
    ("more", "place"),
    [(("--keep", "xylophone"), "keep[0]"), (("--event", "xylophone vancomycin 09:30"), "events[0]")],
)
def test_a_kept_or_an_event_word_that_nobody_knows_still_refuses_the_order(more: tuple[str, ...], place: str) -> None:
    said = say("plan", "K", "potasium", "--demo", "--on", "2026-11-25", *more)
    assert said.status == 2
    assert place in said.err
    assert said.out == ""


def test_a_line_whose_words_do_not_all_settle_is_planned_for_the_rest_and_said() -> None:
    lines = b'{"id": "a", "tests": ["K", "kk"]}\n{"id": "b", "tests": ["PT"]}\n'
    said = say("plan", "--orders", "-", "--demo", stdin=lines)
    assert said.status == 3
    assert said.out.splitlines() == [
        "line 1 (a): 1.1 mL in 1: LG 1.1; NOT ALL: not settled 'kk'", "line 2 (b): 1.8 mL in 1: C9 1.8",
    ]  # fmt: skip
    assert "standard input line 1: tests[1]: found 'kk'" in said.err
    assert say("plan", "--orders", "-", "--demo", stdin=lines + b"not json\n").status == 1
    (first, _) = say("plan", "--orders", "-", "--demo", "--json", stdin=lines).documents()
    assert [one["word"] for one in first["unsettled"]] == ["kk"]


def test_requests_of_fhir_and_an_order_in_json_go_the_same_way(tmp_path: Path) -> None:
    def request(code: dict[str, object]) -> dict[str, object]:
        return {"resource": {"resourceType": "ServiceRequest", "status": "active", "intent": "order", "code": code,
                             "subject": {"reference": "Patient/1"}, "occurrenceDateTime": "2026-11-25"}}  # fmt: skip

    codes: list[dict[str, object]] = [{"text": "K"}, {"text": "chest CT"}, {"coding": [{"code": "K"}, {"code": "Na"}]}]
    bundle = tmp_path / "bundle.json"
    bundle.write_text(json.dumps({"resourceType": "Bundle", "entry": [request(code) for code in codes]}))
    said = say("plan", "--order", str(bundle), "--demo", "--json", "--on", "2026-11-25")
    assert said.status == 3
    (plan,) = said.documents()
    assert [tube["tests"] for tube in plan["tubes"]] == [["potassium"]]
    assert [(one["word"], one["trouble"]) for one in plan["unsettled"]] == [
        ("chest CT", "not-blood"), ("K", "ambiguous"),
    ]  # fmt: skip
    assert "entry[1].resource code" in plan["unsettled"][0]["where"]
    order = tmp_path / "order.json"
    order.write_text(json.dumps({"tests": ["K", {"test": "99999-7", "system": "http://loinc.org"}]}))
    said = say("plan", "--order", str(order), "--demo", "--json")
    assert (said.status, [one["word"] for one in said.documents()[0]["unsettled"]]) == (3, ["99999-7"])


def test_a_stopper_is_found_by_its_look_and_is_no_test() -> None:
    said = say("find", "pale", "blue", "--demo")
    assert said.status == 0
    assert said.out.startswith("citrate ")
    assert "tube: citrate 9:1, coagulation; stopper pale blue, ribbed" in said.out
    (document,) = say("find", "pale blue", "--demo", "--json").documents()
    assert document["found"] == []
    assert document["tubes"] == [
        {"key": "citrate", "name": "citrate 9:1, coagulation", "mark": "C9", "stopper": "pale blue, ribbed"}
    ]
    assert say("find", "strychnine", "--demo").status == 1


LINES = b'{"id": "a", "tests": ["K"]}\n{"id": "b", "tests": ["kk"]}\n\nnot json\n{"id": "d", "tests": ["PT"]}\n'


def test_many_orders_are_one_document_a_line_and_a_bad_one_stops_nothing() -> None:
    said = say("plan", "--orders", "-", "--json", "--demo", stdin=LINES)
    assert said.status == 1
    documents = said.documents()
    assert [d["format"] for d in documents] == [
        "cubital.plan/1", "cubital.error/1", "cubital.error/1", "cubital.plan/1",
    ]  # fmt: skip
    assert [d["id"] for d in documents] == ["a", "b", None, "d"]
    assert [d.get("line") for d in documents] == [1, 2, 4, 5]
    assert "standard input line 2: tests[0]: found 'kk'" in said.err
    assert said.err.count("line 4") == 1


def test_many_orders_without_json_are_one_line_each() -> None:
    said = say("plan", "--orders", "-", "--demo", stdin=LINES)
    assert said.out.splitlines() == [
        "line 1 (a): 1.1 mL in 1: LG 1.1",
        "line 2: no plan, UnknownTest",
        "line 4: no plan, ExchangeError",
        "line 5 (d): 1.8 mL in 1: C9 1.8",
    ]


def test_many_sound_orders_leave_with_nought(tmp_path: Path) -> None:
    path = tmp_path / "orders.jsonl"
    path.write_bytes(b'{"tests": ["K"]}\n' * 3)
    said = say("plan", "--orders", str(path), "--json", "--on", "2026-11-25")
    assert (said.status, said.err, len(said.documents())) == (0, "", 3)


def test_tests_left_out_are_said_loudly_and_are_no_failure() -> None:
    arguments = ["PT", "CBC", "K", "--demo", "--age", "6 mo", "--weight-kg", "6", "--drawn-ml", "10"]
    said = say("plan", *arguments)
    assert said.status == 0
    assert said.out.startswith("NOT ALL: ")
    (plan,) = say("plan", *arguments, "--json").documents()
    assert plan["unplaced"]
    assert {entry["test"] for entry in plan["unplaced"]} <= {"prothrombin-time", "complete-blood-count", "potassium"}


def test_reasons_are_printed_when_they_are_asked_for() -> None:
    assert "Why this tube" not in say("plan", "K", "--demo").out
    assert "Why this tube" in say("plan", "K", "--demo", "--reasons").out


def test_find_gives_the_best_first_and_leaves_with_one_where_nothing_is_near() -> None:
    said = say("find", "potass", "--demo")
    assert said.status == 0
    assert said.out.startswith("potassium  ")
    (document,) = say("find", "potassium", "--demo", "--json", "--most", "1").documents()
    assert [hit["key"] for hit in document["found"]] == ["potassium"]
    assert document["found"][0]["codes"]["loinc"] == "2823-3"
    nothing = say("find", "zzqqxx")
    assert (nothing.status, nothing.out) == (1, "")


def test_explain_prints_what_each_statement_rests_on_and_the_sources_once() -> None:
    said = say("explain", "PT", "K", "--demo")
    assert said.status == 0
    assert "Order of draw, source by source" in said.out
    assert "[common practice, no source]" in said.out
    assert said.out.count("Sources\n") == 1
    (document,) = say("explain", "citrate", "--demo", "--json").documents()
    assert document["format"] == "cubital.explanation/1"
    assert document["sources"]


def test_a_site_is_started_checked_and_not_written_over(tmp_path: Path) -> None:
    folder = str(tmp_path / "ours")
    assert say("site", "new", folder).status == 0
    assert say("site", "check", folder).status == 0
    assert say("site", "new", folder).status == 2
    assert say("plan", "EXST", "--site", folder).status == 0
    (tmp_path / "ours" / "site.toml").write_text('[planning]\nobjetive = "least-blood"\n')
    checked = say("site", "check", folder)
    assert checked.status == 2
    assert "site.toml [planning] objetive" in checked.out
    (document,) = say("site", "check", folder, "--json").documents()
    assert (document["usable"], document["findings"][0]["level"]) == (False, "error")
    planned = say("plan", "K", "--site", folder, "--json")
    assert planned.status == 2
    assert planned.documents()[0]["findings"]


def test_the_folder_to_check_is_this_one_where_none_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    say("site", "new", str(tmp_path / "ours"))
    monkeypatch.chdir(tmp_path / "ours")
    assert "no findings" in say("site", "check").out


def test_a_defect_of_ours_is_confessed_without_a_traceback(monkeypatch: pytest.MonkeyPatch) -> None:
    def break_down(*_: object, **__: object) -> None:
        raise RuntimeError("a secret of the patient")

    monkeypatch.setattr("cubital.app.draws.plan_draw", break_down)
    said = say("plan", "K", "--json")
    assert said.status == 70
    assert "internal: RuntimeError at test_commands.py" in said.err
    assert "secret" not in said.err + said.out
    assert "Traceback" not in said.err
    assert said.out == ""


def test_an_interrupt_leaves_with_130(monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupt(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("cubital.app.draws.plan_draw", interrupt)
    said = say("plan", "K")
    assert said.status == 130
    assert "Traceback" not in said.err


def test_a_site_with_several_faults_tells_each_of_them_once(tmp_path: Path) -> None:
    (tmp_path / "site.toml").write_text('[planning]\nrecovery = 90\nobjective = "least"\n')
    found = say("plan", "K", "--site", str(tmp_path))
    assert found.status == 2
    assert "(and 1 more)" in found.err
    assert found.err.count("recovery: found 90") == 1
    assert found.err.count('objective: found "least"') == 1


def test_a_word_too_few_or_too_many_names_the_help_of_the_command_it_was_given_to() -> None:
    assert say("did", "spin").err.endswith("Did you mean 'spun'? See: cubital did --help\n")
    assert say("did", "spun").err.endswith("See: cubital did spun --help\n")
    assert say("plam").err.endswith("See: cubital --help\n")

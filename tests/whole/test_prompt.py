"""`cubital` as it is installed: another process, its two streams and its status."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

DATA = Path(__file__).parents[1] / "data"
SAMPLE = {
    "id": "w1",
    "patient": {"age": "61 a", "sex": "female", "weight_kg": 70, "height_cm": 165, "flags": ["latex"]},
    "tests": ["PT", "K", "CBC", {"test": "lactate", "priority": "stat"}, "blood culture"],
    "access": "winged-set",
    "objective": "fewest-tubes",
    "on": "2026-11-25",
}


def run(*arguments: str, stdin: bytes = b"", **environment: str) -> subprocess.CompletedProcess[bytes]:
    """One command in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "cubital.cli.main", *arguments],
        input=stdin,
        capture_output=True,
        timeout=60,
        env={**os.environ, **environment},
    )


def plan_of(order: dict[str, Any]) -> dict[str, Any]:
    found = run("plan", "--demo", "--order", "-", "--json", stdin=json.dumps(order).encode())
    assert (found.returncode, found.stderr) == (0, b"")
    document: dict[str, Any] = json.loads(found.stdout)
    return document


def test_the_plan_document_has_every_key_of_the_contract() -> None:
    plan = plan_of(SAMPLE)
    assert plan["format"] == "cubital.plan/1"
    assert {"objective", "optimal", "tubes", "totals", "unplaced", "cautions", "reasons"} <= set(plan)
    assert {"tubes", "blood_ml", "limit_ml"} <= set(plan["totals"])
    for tube in plan["tubes"]:
        assert {
            "position", "purpose", "kind", "additive", "draw_ml", "matrix", "bench", "tests", "inversions",
        } <= set(tube)  # fmt: skip
        assert tube["purpose"] in ("collect", "discard", "culture")
    assert (plan["objective"], plan["optimal"], plan["id"]) == ("fewest-tubes", True, "w1")


def test_the_document_agrees_with_itself() -> None:
    plan = plan_of(SAMPLE)
    collected = [tube for tube in plan["tubes"] if tube["purpose"] == "collect"]
    assert plan["totals"]["tubes"] == len(collected)
    assert plan["totals"]["blood_ml"] == pytest.approx(sum(tube["draw_ml"] for tube in collected))
    assert plan["totals"]["all_blood_ml"] == pytest.approx(sum(tube["draw_ml"] for tube in plan["tubes"]))
    assert {test for tube in plan["tubes"] for test in tube["tests"]} == {
        "prothrombin-time", "potassium", "complete-blood-count", "lactate", "blood-culture",
    }  # fmt: skip
    for number in {tube["draw"] for tube in plan["tubes"]}:
        places = [tube["position"] for tube in plan["tubes"] if tube["draw"] == number]
        assert places == list(range(1, len(places) + 1))


def test_the_same_order_gives_the_same_bytes_in_two_processes() -> None:
    data = json.dumps(SAMPLE).encode()
    first, second = (
        run("plan", "--demo", "--order", "-", "--json", stdin=data, PYTHONHASHSEED=seed) for seed in ("1", "2")
    )
    assert first.stdout == second.stdout != b""


def test_a_line_that_is_bad_is_its_own_line_and_the_rest_are_done(tmp_path: Path) -> None:
    lines = [json.dumps(SAMPLE), '{"id": "bad", "tests": ["K"], "patient": {"hematocrit": 45}}', '{"tests": ["CBC"]}']
    path = tmp_path / "orders.jsonl"
    path.write_text("\n".join(lines))
    found = run("plan", "--demo", "--orders", str(path), "--json")
    documents = [json.loads(line) for line in found.stdout.splitlines()]
    assert [(d["format"], d["id"]) for d in documents] == [
        ("cubital.plan/1", "w1"), ("cubital.error/1", "bad"), ("cubital.plan/1", None),
    ]  # fmt: skip
    assert found.returncode == 1
    assert b"line 2 patient.hematocrit: found 45" in found.stderr


@pytest.mark.parametrize("name", ["lipid", "ft4"])
def test_a_published_fhir_request_is_planned(name: str) -> None:
    found = run("plan", "--demo", "--order", str(DATA / "fhir-r4" / f"servicerequest-example-{name}.json"))
    assert found.returncode == 0
    assert found.stdout.startswith(b"1 tube, ")


def test_the_published_scan_is_refused_as_no_blood_test() -> None:
    found = run("plan", "--demo", "--order", str(DATA / "fhir-r4" / "servicerequest-example.json"))
    assert (found.returncode, found.stdout) == (2, b"")
    assert b"not a blood test" in found.stderr


@pytest.mark.parametrize("path", sorted((DATA / "orders").glob("*.json")), ids=lambda path: path.stem)
def test_every_bad_order_file_is_refused_with_its_fault(path: Path) -> None:
    found = run("plan", "--demo", "--order", str(path))
    assert (found.returncode, found.stdout) == (2, b"")
    said = found.stderr.decode().replace(str(path), "")
    assert path.stem.split("__")[1].replace("-", " ") in said.replace("-", " ")
    assert b"Traceback" not in found.stderr
    assert b"internal" not in found.stderr


BAD = {
    "huge": (b'{"tests": ["K"], "x": "' + b"x" * 6_000_000 + b'"}', "at most 5000000"),
    "deep": (b"[" * 200_000, "nested"),
    "a thousand tests": (json.dumps({"tests": [f"t{n}" for n in range(1000)]}).encode(), "at most 250"),
    "no tests": (b'{"tests": []}', "at least"),
    "no such test": (b'{"tests": ["no such test"]}', "expected a test or panel"),
    "twice": (b'{"tests": ["K", "potassium"]}', "the same"),
    "born tomorrow": (b'{"tests": ["K"], "patient": {"birth_date": "2999-01-01"}}', "in the future"),
    "grams": (b'{"tests": ["K"], "patient": {"weight_kg": 3200, "age": "2 d"}}', "write 3.2"),
    "negative": (b'{"tests": ["K"], "patient": {"drawn_ml": -5}}', "from 0"),
    "percent": (b'{"tests": ["K"], "patient": {"hematocrit": "0.45 %"}}', "0.05 to 0.85"),
    "misspelt": (b'{"tests": ["K"], "patient": {"wieght_kg": 70}}', "weight_kg"),
}


@pytest.mark.parametrize("fault", BAD)
def test_bad_input_is_refused_clearly_and_nothing_is_half_written(fault: str) -> None:
    data, message = BAD[fault]
    found = run("plan", "--demo", "--order", "-", stdin=data)
    said = found.stderr.decode()
    assert (found.returncode, found.stdout) == (2, b"")
    assert message in said
    assert said.startswith(("cubital: standard input", "cubital: tests["))
    assert "Traceback" not in said
    assert len(said) < 2000


def test_a_typo_in_a_site_file_stops_the_plan_and_names_file_entry_and_remedy(tmp_path: Path) -> None:
    run("site", "new", str(tmp_path / "ours"))
    tubes = tmp_path / "ours" / "tubes.toml"
    tubes.write_text(tubes.read_text().replace('"k2-edta"', '"k2-edat"'))
    found = run("plan", "K", "--site", str(tmp_path / "ours"))
    assert (found.returncode, found.stdout) == (2, b"")
    for word in (b"tubes.toml", b"[edta]", b"k2-edat", b"k2-edta"):
        assert word in found.stderr


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys; from cubital.cli.main import status_of\n"
        "try: status_of(sys.argv[1:])\n"
        "finally: print(*sorted(sys.modules), file=sys.stderr)"
    )
    for arguments in (["--help"], ["plan", "--help"]):
        found = subprocess.run([sys.executable, "-c", code, *arguments], capture_output=True, text=True, check=True)
        loaded = set(found.stderr.split())
        assert "click" in loaded
        heavy = {"rich", "typer", "pydantic", "sqlalchemy", "highspy", "ortools", "numpy", "msgspec", "jsonschema_rs"}
        assert not loaded & (heavy | {"cubital.planning", "cubital.facts", "cubital.exchange"})


def test_a_reader_that_leaves_early_ends_the_command_quietly(tmp_path: Path) -> None:
    path = tmp_path / "orders.jsonl"
    path.write_bytes(b'{"tests": ["K"]}\n' * 300)
    command = [sys.executable, "-m", "cubital.cli.main", "plan", "--orders", str(path), "--json"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.readline()
        process.stdout.close()
        said = process.stderr.read()
        assert process.wait(timeout=60) == 1
    assert said == b""


def test_a_terminal_without_unicode_gets_a_typed_tray() -> None:
    found = run("plan", "PT", "K", "--demo", PYTHONIOENCODING="ascii")
    assert found.returncode == 0
    assert found.stdout.isascii()
    assert b"| C9 |" in found.stdout
    assert b"\\u" not in found.stdout


def test_the_installed_command_is_the_same() -> None:
    command = Path(sys.executable).with_name("cubital")
    found = subprocess.run([command, "plan", "K", "--demo", "--json"], capture_output=True, check=True)
    assert found.stdout == run("plan", "K", "--demo", "--json").stdout


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_a_full_disk_behind_the_output_is_said_and_is_no_defect() -> None:
    command = [sys.executable, "-m", "cubital", "plan", "K", "--demo", "--json"]
    with open("/dev/full", "wb") as full:
        found = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, timeout=60)
    assert found.returncode == 74
    assert found.stderr.startswith(b"cubital: standard output: found No space left on device;")
    assert b"internal" not in found.stderr


@pytest.mark.skipif(os.name != "posix", reason="a shell of POSIX closes the stream")
@pytest.mark.parametrize(("closing", "status", "said"), [
    ("plan K --demo >&-", 0, b""),
    ("plan --order - --demo <&-", 2, b"cubital: standard input: found nothing;"),
    ("plan nonsense --demo 2>&-", 2, b""),
])  # fmt: skip
def test_a_stream_closed_by_the_caller_is_an_empty_one(closing: str, status: int, said: bytes) -> None:
    found = subprocess.run(
        ["sh", "-c", f'exec "$0" -m cubital {closing}', sys.executable], capture_output=True, timeout=60
    )
    assert (found.returncode, found.stdout) == (status, b"")
    assert found.stderr.startswith(said)


def test_an_open_feed_is_answered_line_by_line_before_it_ends() -> None:
    command = [sys.executable, "-m", "cubital", "plan", "--orders", "-", "--demo", "--json"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        for line, order in enumerate((b'{"id": "a", "tests": ["K"]}\r\n', b'{"tests":\n', b'{"tests": ["K"]}\n'), 1):
            process.stdin.write(order)
            process.stdin.flush()
            assert json.loads(process.stdout.readline())["line"] == line
        process.stdin.close()
        assert process.wait(timeout=60) == 1

"""The reference of the pages says what the server goes by."""

from __future__ import annotations

import importlib.util
from pathlib import Path

from cubital.app import accounts, passwords

ROOT = Path(__file__).resolve().parents[2]


def test_the_table_of_routes_is_the_servers_own_else_run_scripts_write_web_reference() -> None:
    spec = importlib.util.spec_from_file_location("write_web_reference", ROOT / "scripts" / "write_web_reference.py")
    assert spec is not None
    assert spec.loader is not None
    writer = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(writer)
    text = (ROOT / "docs" / "reference" / "web.md").read_text(encoding="utf-8")
    assert writer.with_table(text) == text
    assert writer.table().count("\n") > 20


def test_the_times_of_sessions_are_those_of_the_program() -> None:
    text = (ROOT / "docs" / "reference" / "web.md").read_text(encoding="utf-8")
    assert f"after {accounts.IDLE.seconds // 60} minutes without use" in text
    assert f"after {accounts.LONGEST.seconds // 3600} hours in all" in text
    assert f"{passwords.LEAST_LETTERS} to {passwords.MOST_LETTERS} letters" in text

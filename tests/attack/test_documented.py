"""What the page on trust says of each edit is what the attack expects, and every attack it names is there."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path

import pytest

from cubital.app.wiring import upgrade_store
from tests.attack.tampering import EDITS, Edit, fill, try_edit

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs/explanation/trust.md").read_text(encoding="utf-8")


def test_every_edit_stands_on_the_page_with_who_finds_it() -> None:
    said = re.findall(r"(?m)^\| ([^|]+) \| (check|noted head|not found) \|$", PAGE)
    assert said == [(edit.what, edit.expected) for edit in EDITS]
    assert len(EDITS) >= 20


def test_every_attack_and_test_that_the_page_names_is_there() -> None:
    named = set(re.findall(r"tests\.attack\.[a-z_]+", PAGE))
    assert named >= {"tests.attack.kills_of_setup", "tests.attack.stations", "tests.attack.tampering"}
    assert all(importlib.util.find_spec(one) for one in named), named
    assert all((ROOT / one).is_file() for one in re.findall(r"`(tests/[\w/]+\.py)`", PAGE))


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A filled record, to copy."""
    path = tmp_path_factory.mktemp("filled") / "lab.db"
    upgrade_store(str(path))
    fill(str(path))
    return path.read_bytes()


@pytest.mark.parametrize("edit", EDITS, ids=lambda edit: edit.what.replace(" ", "-"))
def test_an_edit_of_a_record_in_a_file_is_found_as_the_page_says(filled: bytes, tmp_path: Path, edit: Edit) -> None:
    path = tmp_path / "lab.db"
    path.write_bytes(filled)
    assert try_edit(str(path), edit) == edit.expected

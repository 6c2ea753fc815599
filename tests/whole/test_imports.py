"""The import contracts of pyproject.toml are whole: every module they must name is named."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "src" / "cubital"
LINTER = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["importlinter"]


def contract_of(words: str) -> dict[str, Any]:
    found = [contract for contract in LINTER["contracts"] if words in contract["name"]]
    assert len(found) == 1
    contract: dict[str, Any] = found[0]
    return contract


def test_every_module_of_planning_is_shut_to_the_verifier() -> None:
    modules = {f"cubital.planning.{path.stem}" for path in (PACKAGE / "planning").glob("*.py")}
    named = set(contract_of("shares no code")["forbidden_modules"])
    assert modules - {"cubital.planning.__init__"} <= named


def test_every_module_that_loads_centrifuges_is_shut_to_their_verifier() -> None:
    modules = {f"cubital.handling.{path.stem}" for path in (PACKAGE / "handling").glob("spin*.py")}
    assert modules <= set(contract_of("stands apart")["forbidden_modules"])


def test_every_package_and_module_stands_in_a_layer() -> None:
    layers = contract_of("point down")["layers"]
    named = {part.strip(" ()") for layer in layers for part in layer.split("|")}
    found = {path.parent.name for path in PACKAGE.glob("*/__init__.py")} | {path.stem for path in PACKAGE.glob("*.py")}
    assert found - {"__init__"} <= named


def test_the_tests_run_the_contracts() -> None:
    assert "lint-imports" in (ROOT / "scripts" / "test").read_text(encoding="utf-8")

"""The built wheel runs where there is nothing but its declared dependencies, with the data files inside it."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import sysconfig
import zipfile
from importlib.metadata import distribution
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
DATA = ROOT / "src" / "cubital" / "data"


def run(*command: str | Path, cwd: Path) -> subprocess.CompletedProcess[str]:
    """The command, run outside the source tree with nothing of this process's environment but the path."""
    return subprocess.run(
        [str(part) for part in command], cwd=cwd, capture_output=True, text=True, timeout=300,
        env={"PATH": "/usr/bin:/bin", "PYTHONDONTWRITEBYTECODE": "1", "LANG": "C.UTF-8"},
    )  # fmt: skip


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    built = run(sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", folder, cwd=ROOT)
    assert built.returncode == 0, built.stderr
    (found,) = folder.glob("*.whl")
    return found


@pytest.fixture(scope="module")
def python(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The interpreter of an environment that holds the wheel and the dependencies that it declares."""
    folder = tmp_path_factory.mktemp("fresh") / "env"
    assert run(sys.executable, "-m", "venv", "--without-pip", folder, cwd=folder.parent).returncode == 0
    python = folder / "bin" / "python"
    installed = run(
        sys.executable, "-m", "pip", "--python", python, "install", "--no-index", "--no-deps", "--quiet", wheel,
        cwd=folder.parent,
    )  # fmt: skip
    assert installed.returncode == 0, installed.stderr
    packages = Path(sysconfig.get_path("purelib", vars={"base": str(folder), "platbase": str(folder)}))
    for name in declared(wheel):
        copy_of(name, packages)
    return python


def declared(wheel: Path) -> list[str]:
    """The names of what the wheel needs without its extras, and of what those need."""
    with zipfile.ZipFile(wheel) as archive:
        (metadata,) = [name for name in archive.namelist() if name.endswith(".dist-info/METADATA")]
        lines = archive.read(metadata).decode().splitlines()
    waiting = [line.removeprefix("Requires-Dist: ") for line in lines if line.startswith("Requires-Dist: ")]
    found: list[str] = []
    while waiting:
        requirement = waiting.pop()
        name = re.match(r"[A-Za-z0-9._-]+", requirement)
        assert name is not None
        if ";" not in requirement and name[0] not in found:
            found.append(name[0])
            waiting += distribution(name[0]).requires or []
    return found


def copy_of(name: str, packages: Path) -> None:
    for file in distribution(name).files or ():
        source = Path(str(file.locate()))
        if ".." not in file.parts and source.is_file() and file.suffix != ".pyc":
            (packages / file).parent.mkdir(parents=True, exist_ok=True)
            (packages / file).write_bytes(source.read_bytes())


def test_every_data_file_the_licence_and_the_notices_are_in_the_wheel(wheel: Path) -> None:
    inside = set(zipfile.ZipFile(wheel).namelist())
    shipped = [path for path in DATA.rglob("*") if path.is_file()]
    assert len(shipped) > 20
    assert {f"cubital/data/{path.relative_to(DATA).as_posix()}" for path in shipped} <= inside
    assert {"LICENSE", "NOTICE"} <= {Path(name).name for name in inside}
    assert not any(name.startswith(("tests/", "bench/")) for name in inside)


def test_the_wheel_tells_a_type_checker_that_it_is_typed(wheel: Path) -> None:
    assert "cubital/py.typed" in zipfile.ZipFile(wheel).namelist()


def test_the_fresh_environment_knows_nothing_of_the_source_tree(python: Path) -> None:
    said = run(python, "-c", "import cubital, sys; print(cubital.__file__, *sys.path)", cwd=python.parent)
    assert said.returncode == 0, said.stderr
    assert str(ROOT) not in said.stdout
    assert str(python.parent.parent) in said.stdout.split()[0]
    assert run(python, "-c", "import pytest", cwd=python.parent).returncode != 0


def test_the_installed_command_plans_an_order_at_the_demo_site(python: Path) -> None:
    command = python.parent / "cubital"
    planned = run(command, "plan", "PT", "K", "CBC", "--demo", "--on", "2026-11-25", "--json", cwd=python.parent)
    assert planned.returncode == 0, planned.stderr
    plan = json.loads(planned.stdout)
    assert plan["format"] == "cubital.plan/1"
    assert plan["optimal"] is True
    assert {test for tube in plan["tubes"] for test in tube["tests"]} == {
        "prothrombin-time", "potassium", "complete-blood-count",
    }  # fmt: skip
    assert run(command, "plan", "no such test", "--demo", cwd=python.parent).returncode == 2


def test_the_installed_command_runs_as_a_module_and_says_its_version_and_edition(python: Path) -> None:
    said = run(python, "-m", "cubital", "--version", cwd=python.parent)
    assert said.returncode == 0, said.stderr
    version = re.escape(distribution("cubital").version)
    assert re.fullmatch(rf"cubital {version}, facts of \d{{4}}-\d\d-\d\d\n", said.stdout)


def test_the_installed_library_plans_and_verifies_an_order(python: Path) -> None:
    program = (
        "import cubital; site = cubital.read_site();"
        'order = cubital.read_order(\'{"tests": ["K", "PT"], "on": "2026-11-25"}\');'
        "plan = cubital.plan(order, site); print(len(plan.tubes), cubital.verify(plan, order, site))"
    )
    said = run(python, "-c", program, cwd=python.parent)
    assert said.returncode == 0, said.stderr
    assert said.stdout.strip() == "2 ()"

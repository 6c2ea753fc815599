"""On a fresh machine the scripts set up by themselves, say little, and mend what a kill left; with fake programs."""

from __future__ import annotations

import os
import shutil
import subprocess
import tomllib
from pathlib import Path

import pytest

from cubital.errors import MissingLibrary

ROOT = Path(__file__).parents[2]
TOOLS = ("bash", "env", "tail", "mktemp", "rm", "cat")

# What `python3` does in a set-up, and nothing else; DIE names the step at which it and the set-up are killed.
PYTHON = """#!/usr/bin/env bash
home=$(cd "$(dirname "$0")/.." && pwd)
case "$*" in
-) exit 0 ;;
"-m venv "*)
    mkdir -p "$3/bin" "$3/lib"
    cp "$0" "$3/bin/python"
    if [ "$DIE" = venv ]; then kill -9 $PPID; exit 1; fi
    touch "$3/lib/pip"
    printf '#!%s/bin/python\\n' "$PWD/$3" >"$3/bin/pip" ;;
"-m pip --version") [ -e "$home/lib/pip" ] ;;
"-m pip install"*)
    echo "WARNING: a new release of pip is there"
    if [ "$DIE" = "no network" ]; then echo "ERROR: no route to host"; exit 1; fi
    mkdir -p "$home/lib/python3/site-packages"
    cd "$home/lib/python3/site-packages"
    for one in alembic-1 click-8 msgspec-0; do
        [ -e "$one.dist-info/METADATA" ] && continue
        mkdir -p "$one.dist-info"
        echo "$one" >>"$home/lib/put-down"
        touch "$one.dist-info/METADATA"
        echo "$one/__init__.py,," >"$one.dist-info/RECORD"
        if [ "$DIE" = install ] && [ "$one" = click-8 ]; then kill -9 $PPID; exit 1; fi
        echo "$one.dist-info/INSTALLER,," >>"$one.dist-info/RECORD"
    done ;;
"-m pip check"*) exit 0 ;;
esac
"""

APT_GET = """#!/usr/bin/env bash
here=${0%/*}
echo "$*" >>"$here/asked"
[ "$1" = install ] || exit 0
for one in initdb chromium nginx python3-venv; do
    echo >"$here/$one"
    chmod +x "$here/$one"
done
"""


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    """A checkout with nothing set up, and a Python that only pretends."""
    folder = tmp_path / "checkout"
    (folder / "scripts").mkdir(parents=True)
    (folder / "requirements").mkdir()
    shutil.copy(ROOT / "scripts/setup", folder / "scripts/setup")
    (folder / "pyproject.toml").write_text("[project]\n")
    for name in ("run", "dev"):
        (folder / f"requirements/{name}.txt").write_text("click==8\n")
    write_program(tmp_path / "python3", PYTHON)
    return folder


def write_program(path: Path, text: str) -> None:
    path.write_text(text)
    path.chmod(0o755)


def set_up(checkout: Path, die: str = "", want: str = "run") -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "PYTHON": str(checkout.parent / "python3"), "DIE": die}
    command = [str(checkout / "scripts/setup"), want]
    return subprocess.run(command, capture_output=True, text=True, env=environment, timeout=30, check=False)


def libraries(checkout: Path) -> dict[str, bool]:
    """Each library in the environment, and whether all of it is there."""
    found = sorted((checkout / ".venv/lib/python3/site-packages").glob("*.dist-info"))
    return {one.stem: "INSTALLER" in (one / "RECORD").read_text() for one in found}


WHOLE = {"alembic-1": True, "click-8": True, "msgspec-0": True}


@pytest.mark.parametrize("step", ["venv", "install"])
def test_a_set_up_that_was_killed_is_mended_by_the_next_one(checkout: Path, step: str) -> None:
    assert set_up(checkout, die=step).returncode == -9
    done = set_up(checkout)
    assert (done.returncode, done.stdout) == (0, "")
    assert libraries(checkout) == WHOLE
    assert sorted(one.name for one in checkout.glob(".venv*")) == [".venv", ".venv.lock"]


def test_what_was_whole_when_it_was_killed_is_not_put_down_again(checkout: Path) -> None:
    set_up(checkout, die="install")
    assert libraries(checkout) == {"alembic-1": True, "click-8": False}
    set_up(checkout)
    assert (checkout / ".venv/lib/put-down").read_text().split() == ["alembic-1", "click-8", "click-8", "msgspec-0"]


def test_an_environment_knows_its_own_name(checkout: Path) -> None:
    set_up(checkout)
    assert (checkout / ".venv/bin/pip").read_text() == f"#!{checkout}/.venv/bin/python\n"


def test_libraries_that_a_killed_set_up_of_another_kind_left_are_not_trusted(checkout: Path) -> None:
    set_up(checkout, want="run")
    shutil.rmtree(checkout / ".venv/lib/python3/site-packages/click-8.dist-info")
    assert set_up(checkout, die="install", want="dev").returncode == -9
    assert not libraries(checkout)["click-8"]
    assert set_up(checkout, want="run").returncode == 0
    assert libraries(checkout) == WHOLE


def test_a_set_up_that_was_killed_asks_every_other_kind_to_look_again(checkout: Path) -> None:
    set_up(checkout, want="dev")
    (checkout / "requirements/run.txt").write_text("click==9\n")
    shutil.rmtree(checkout / ".venv/lib/python3/site-packages/click-8.dist-info")
    assert set_up(checkout, die="install", want="run").returncode == -9
    set_up(checkout, want="run")
    assert set_up(checkout, want="dev").stderr == "setting up .venv (once; about a minute)\n"
    assert set_up(checkout, want="dev").stderr == ""


def test_an_environment_without_pip_is_put_aside_and_made_anew(checkout: Path) -> None:
    (checkout / ".venv/bin").mkdir(parents=True)
    write_program(checkout / ".venv/bin/python", PYTHON)
    done = set_up(checkout)
    assert done.returncode == 0
    assert "found no pip in .venv; it is kept as .venv.without-pip" in done.stderr
    assert libraries(checkout) == WHOLE


def test_a_set_up_says_one_line_and_none_when_there_is_nothing_to_do(checkout: Path) -> None:
    first = set_up(checkout)
    assert (first.stdout, first.stderr) == ("", "setting up .venv (once; about a minute)\n")
    second = set_up(checkout)
    assert (second.returncode, second.stdout, second.stderr) == (0, "", "")


def test_what_the_installer_says_is_shown_where_it_fails_and_the_next_run_goes_on(checkout: Path) -> None:
    failed = set_up(checkout, die="no network")
    assert failed.returncode == 1
    assert "ERROR: no route to host" in failed.stderr
    assert "the set-up of .venv stopped at: .venv/bin/python -m pip install" in failed.stderr
    assert set_up(checkout).returncode == 0


@pytest.fixture
def machine(tmp_path: Path) -> Path:
    """A machine of root's without any program that the tests need; apt-get puts down what it is asked for."""
    folder = tmp_path / "bin"
    folder.mkdir()
    for name in TOOLS:
        found = shutil.which(name)
        assert found is not None
        (folder / name).symlink_to(found)
    write_program(folder / "id", "#!/usr/bin/env bash\necho 0\n")
    write_program(folder / "python3", '#!/usr/bin/env bash\n[ -e "${0%/*}/python3-venv" ]\n')
    (folder / "chmod").symlink_to(shutil.which("chmod") or "")
    write_program(folder / "apt-get", APT_GET)
    return folder


def install(machine: Path) -> subprocess.CompletedProcess[str]:
    environment = {"PATH": str(machine), "CUBITAL_MACHINE": str(machine / "none")}
    command = [str(machine / "bash"), str(ROOT / "scripts/install_programs")]
    return subprocess.run(command, capture_output=True, text=True, env=environment, timeout=30, check=False)


def be_somebody(machine: Path, *, may_sudo: bool) -> None:
    write_program(machine / "id", "#!/usr/bin/env bash\necho 1000\n")
    does = '[ "$1" = -n ] && shift && if [ "$1" != true ]; then echo sudo >>"${0%/*}/asked"; exec "$@"; fi'
    write_program(machine / "sudo", f"#!/usr/bin/env bash\n{does if may_sudo else 'exit 1'}\n")


def test_root_gets_the_programs_installed_and_is_asked_nothing(machine: Path) -> None:
    done = install(machine)
    assert (done.returncode, done.stderr) == (0, "installing postgresql chromium nginx-light python3-venv\n")
    assert (machine / "asked").read_text().splitlines() == [
        "update", "install -y --no-install-recommends postgresql chromium nginx-light python3-venv",
    ]  # fmt: skip
    (machine / "asked").unlink()
    assert install(machine).returncode == 0
    assert not (machine / "asked").exists()


def test_whoever_sudo_asks_nothing_gets_them_too(machine: Path) -> None:
    be_somebody(machine, may_sudo=True)
    assert install(machine).returncode == 0
    assert (machine / "asked").read_text().splitlines()[0] == "sudo"
    assert (machine / "initdb").exists()


def test_whoever_may_not_is_told_the_one_command(machine: Path) -> None:
    be_somebody(machine, may_sudo=False)
    done = install(machine)
    assert done.returncode == 2
    assert done.stderr == (
        "the tests need programs that only root may install; run: sudo apt-get install -y --no-install-recommends "
        "postgresql chromium nginx-light python3-venv\n"
    )
    assert not (machine / "asked").exists()


def test_a_machine_with_another_installer_is_told_what_is_needed(machine: Path) -> None:
    (machine / "apt-get").unlink()
    done = install(machine)
    assert (done.returncode, "postgresql chromium" in done.stderr) == (2, True)


def test_an_installer_that_fails_is_heard(machine: Path) -> None:
    write_program(machine / "apt-get", "#!/usr/bin/env bash\necho 'E: no such package'\nexit 100\n")
    done = install(machine)
    assert done.returncode == 2
    assert "E: no such package" in done.stderr
    assert "could not be installed" in done.stderr


def test_what_runs_the_tests_in_ci_is_what_anyone_runs() -> None:
    assert (ROOT / ".ci/run").read_text().splitlines()[2:] == ['exec "$(dirname "$0")/../scripts/test"']
    assert "scripts/install_programs\nscripts/setup dev\n" in (ROOT / "scripts/test").read_text()


@pytest.mark.parametrize("extra", ["web", "server", "inference", "paper", "postgres", "plots"])
def test_what_a_missing_library_is_said_to_need_is_there(extra: str) -> None:
    said = MissingLibrary.of("numpy", need="it", extra=extra, where="test").message
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["optional-dependencies"]
    assert extra in project
    assert f'pip install "cubital[{extra}]"' in said
    if "scripts/setup web" in said:
        listed = (ROOT / "requirements/web.in").read_text().splitlines()
        assert [one for one in project[extra] if one not in listed] == []
    else:
        assert f'.venv/bin/pip install -e ".[{extra}]"' in said

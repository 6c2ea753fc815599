"""The docs say what the code does: every command is run, every link leads somewhere, the generated page is current."""

from __future__ import annotations

import doctest
import importlib.util
import re
from pathlib import Path

import pytest

from cubital import facts
from cubital.exchange.order_file import ASK_KEYS, LINE_KEYS, ORDER_KEYS
from cubital.exchange.patient_object import PATIENT_KEYS
from tests.whole.pages import DOCS, ROOT, Step, blocks_of, is_as_written, pages, walk

NAMED = [pytest.param(page, id=page.relative_to(DOCS).as_posix()) for page in pages()]


@pytest.mark.parametrize("page", NAMED)
def test_every_command_of_a_page_prints_what_the_page_says(page: Path, tmp_path: Path) -> None:
    for _, steps in walk(page, tmp_path):
        for step in steps:
            assert step.status == step.expected_status, (step.command, step.printed)
            assert is_as_written(step), (step.command, "\n".join(step.printed))


@pytest.mark.parametrize("page", NAMED)
def test_every_python_example_of_a_page_runs_as_written(
    page: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    walk(page, tmp_path)
    monkeypatch.chdir(tmp_path)
    for block in blocks_of(page.read_text(encoding="utf-8")):
        if block.language == "python":
            example = doctest.DocTestParser().get_doctest(block.text, {}, page.name, page.name, 0)
            assert example.examples, f"{page.name}: a python block without >>> cannot be checked"
            said: list[str] = []
            assert doctest.DocTestRunner().run(example, out=said.append).failed == 0, "".join(said)


@pytest.mark.parametrize("page", NAMED)
def test_every_link_of_a_page_leads_to_a_file(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8")):
        if not target.startswith("https://"):
            assert (page.parent / target).exists(), target


def test_the_docs_hold_a_good_many_commands(tmp_path: Path) -> None:
    count = 0
    for number, page in enumerate(pages()):
        folder = tmp_path / str(number)
        folder.mkdir()
        count += sum(len(steps) for _, steps in walk(page, folder))
    assert count >= 20


def test_a_command_that_prints_something_else_is_found() -> None:
    step = Step("cubital", ["a", "…", "c"], ["a", "b", "b", "c"], 0, 0)
    assert is_as_written(step)
    assert not is_as_written(step._replace(printed=["a", "b"]))
    assert not is_as_written(step._replace(written=["a", "c"]))
    assert is_as_written(step._replace(written=["a.c"], printed=["a.c"]))
    assert not is_as_written(step._replace(written=["a.c"], printed=["abc"]))
    assert is_as_written(step._replace(written=["a…"], printed=["abc"]))
    assert not is_as_written(step._replace(written=["a…"], printed=["abc", "d"]))


def test_no_page_names_this_machine() -> None:
    for page in pages():
        assert not re.search(r"/(work|home|tmp|root)/", page.read_text(encoding="utf-8")), page


def test_the_page_of_facts_is_what_the_facts_say_now(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(str(ROOT / "scripts"))
    script = ROOT / "scripts" / "write_facts_reference.py"
    spec = importlib.util.spec_from_file_location("write_facts_reference", script)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    written = (DOCS / "reference" / "facts.md").read_text(encoding="utf-8")
    assert module.facts_page() == written, "run scripts/write_facts_reference.py"


def test_the_page_of_facts_names_every_source_and_every_test() -> None:
    written = (DOCS / "reference" / "facts.md").read_text(encoding="utf-8")
    for key in (*facts.sources(), *facts.tests_table(), *facts.tube_table(), *facts.order_policies()):
        assert f"`{key}`" in written


def test_the_page_of_orders_names_every_key_of_an_order() -> None:
    written = (DOCS / "reference" / "order.md").read_text(encoding="utf-8")
    for key in (*ORDER_KEYS, *PATIENT_KEYS, *ASK_KEYS, *LINE_KEYS):
        assert f"`{key}`" in written


def test_the_pictures_of_the_docs_are_what_the_code_draws_now(tmp_path: Path) -> None:
    spec = importlib.util.spec_from_file_location("pictures", ROOT / "scripts" / "write_docs_pictures.py")
    assert spec is not None
    assert spec.loader is not None
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    script.write_pictures(tmp_path)
    kept = {path.name: path.read_bytes() for path in script.PICTURES.glob("*.svg") if path.name in script.COMMANDS}
    assert kept == {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    assert set(kept) == set(script.COMMANDS)


def test_every_format_that_is_written_or_read_stands_in_the_reference() -> None:
    source = "".join(path.read_text(encoding="utf-8") for path in (ROOT / "src" / "cubital").rglob("*.py"))
    formats = set(re.findall(r'"(cubital\.[a-z-]+/\d+)"', source))
    assert len(formats) > 25
    reference = "".join(path.read_text(encoding="utf-8") for path in (DOCS / "reference").glob("*.md"))
    assert not [name for name in sorted(formats) if f"`{name}`" not in reference and f'"{name}"' not in reference]

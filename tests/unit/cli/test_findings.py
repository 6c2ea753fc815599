"""Findings at the prompt: errors each, many warnings of one kind together, nothing lost."""

from __future__ import annotations

from pathlib import Path

import pytest

from cubital.cli.findings import MOST_ALIKE, count_findings, finding_lines
from cubital.model import Finding
from cubital.model.finding import LevelKey
from tests.unit.cli.prompt import say


def finding(number: int, level: LevelKey = "warning", *, remedy: str = "stock one", at: int = 0) -> Finding:
    return Finding(
        level=level, file="tests.toml", entry=f"[test-{number}] accepts[{at}].volume_ul", found=str(number),
        expected="less", remedy=remedy,
    )  # fmt: skip


@pytest.mark.parametrize("count", range(1, MOST_ALIKE + 1))
def test_a_few_warnings_of_one_kind_are_told_each(count: int) -> None:
    few = [finding(number) for number in range(count)]
    assert list(finding_lines(few)) == [f"warning: {one}" for one in few]
    assert "kinds" not in count_findings(few)


def test_one_more_stands_together_with_how_many_and_where() -> None:
    many = [finding(number, at=number) for number in range(MOST_ALIKE + 1)]
    assert list(finding_lines(many)) == [f"warning: 4 like this: {many[0]}", "  also test-1, test-2, test-3"]
    assert count_findings(many) == "4 findings of 1 kind; --all tells each"
    assert list(finding_lines(many, is_all=True)) == [f"warning: {one}" for one in many]
    assert count_findings(many, is_all=True) == "4 findings"


def test_many_others_are_counted() -> None:
    assert list(finding_lines([finding(number) for number in range(30)]))[1].endswith("test-8 and 21 more")


def test_every_error_is_told_however_many() -> None:
    errors = [finding(number, "error") for number in range(20)]
    assert list(finding_lines(errors)) == [f"error: {one}" for one in errors]
    assert count_findings(errors) == "20 findings"


def test_another_level_field_or_remedy_is_another_kind() -> None:
    mixed = [finding(0), finding(1, "note"), finding(2, remedy="correct it"), finding(3)]
    assert len(list(finding_lines(mixed))) == 4


def test_a_site_of_two_kinds_on_the_shipped_directory_is_told_in_a_few_lines(tmp_path: Path) -> None:
    (tmp_path / "tubes.toml").write_text(
        '[serum-gel]\nadditive = "clot-activator"\ngel = true\nsizes = [{draw_ml = 3.5}]\n\n'
        '[edta]\nadditive = "k2-edta"\nsizes = [{draw_ml = 0.5}]\n'
    )
    short = say("site", "check", str(tmp_path))
    assert len(short.out.splitlines()) < 12
    assert "--all tells each" in short.out
    whole = say("site", "check", str(tmp_path), "--all").out.splitlines()
    (document,) = say("site", "check", str(tmp_path), "--json").documents()
    assert len(whole) == len(document["findings"]) + 1 > 40

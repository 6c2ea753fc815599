"""What a terminal can show, and what it is shown."""

from __future__ import annotations

import io

import pytest

from cubital.cli.sheet import DRAWN, TYPED, Sheet, sheet_for


class Terminal(io.StringIO):
    encoding = "utf-8"

    def isatty(self) -> bool:
        return True


def test_a_pipe_gets_eighty_columns_and_no_colour() -> None:
    sheet = sheet_for(io.StringIO())
    assert (sheet.width, sheet.is_coloured) == (80, False)


def test_a_terminal_gets_colour_unless_it_is_told_not_to(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("TERM", "xterm")
    assert sheet_for(Terminal()).is_coloured
    monkeypatch.setenv("NO_COLOR", "1")
    assert not sheet_for(Terminal()).is_coloured
    monkeypatch.delenv("NO_COLOR")
    monkeypatch.setenv("TERM", "dumb")
    assert not sheet_for(Terminal()).is_coloured


@pytest.mark.parametrize(("columns", "width"), [(20, 60), (59, 60), (60, 60), (100, 100), (120, 120), (300, 120)])
def test_the_width_stays_between_sixty_and_a_hundred_and_twenty(columns: int, width: int) -> None:
    assert sheet_for(Terminal(), width=columns).width == width


def test_a_stream_that_is_not_unicode_gets_typed_characters() -> None:
    class Plain(Terminal):
        encoding = "latin-1"

    assert sheet_for(Plain()).glyphs is TYPED
    assert sheet_for(Terminal()).glyphs is DRAWN


def test_the_typed_characters_are_ascii_and_each_set_tells_its_contents_apart() -> None:
    for glyphs in (DRAWN, TYPED):
        assert len({glyphs.blood, glyphs.liquid, glyphs.gel, glyphs.waste}) == 4
        assert len({glyphs.used, glyphs.now, glyphs.free}) == 3
    assert all(char.isascii() for char in "".join((TYPED.blood, TYPED.liquid, *TYPED.top, *TYPED.side, *TYPED.bottom)))


def test_a_number_keeps_its_unit_on_the_line() -> None:
    text = "spin 1500 g, 15 min, 18-25 C; draw 2.7 mL; fill at least 90 %"
    for width in range(12, 62):
        for line in Sheet(width=width).wrap(text):
            assert line.split()[0] not in ("g,", "min,", "C;", "mL;", "%")
            assert "\xa0" not in line


def test_emphasis_is_shown_only_where_the_sheet_has_colour() -> None:
    assert Sheet().mark("stop", "stop") == "stop"
    assert Sheet(is_coloured=True).mark("stop", "stop") == "\x1b[1;31mstop\x1b[0m"

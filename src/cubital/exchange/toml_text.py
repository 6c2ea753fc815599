"""Tables to TOML, and one entry of a file changed in its text with every other line left as it was."""

from __future__ import annotations

import datetime
import re
import tomllib
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_HEADER = re.compile(r"\s*\[\[?\s*(?P<name>[^\[\]]+?)\s*\]\]?\s*(#.*)?")
_ESCAPES = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\t": "\\t", "\r": "\\r"}
_WIDE = 100


def write_toml(table: Mapping[str, Any]) -> str:
    """This table as a file: its single values first, then a section for each table in it.

    >>> print(write_toml({"include": "shipped", "k": {"gel": True, "sizes": [{"draw_ml": Decimal("2.7")}]}}))
    include = "shipped"
    <BLANKLINE>
    [k]
    gel = true
    sizes = [{draw_ml = 2.7}]
    <BLANKLINE>
    """
    lines = [_line(key, value) for key, value in table.items() if not isinstance(value, Mapping)]
    sections = [_section(key, value) for key, value in table.items() if isinstance(value, Mapping)]
    return "\n".join(["".join(lines), *sections] if lines else sections)


def change_entry(text: str, key: str, value: Any | None) -> str:
    """The file with this key of its top level changed, added, or taken out where the value is None.

    Comments stay, but for those inside a section that is changed. Where the text cannot be changed in place
    (a key written in an unusual way), the whole file is written anew: what it says is right, its comments are gone.
    """
    wanted = {name: old for name, old in _read(text).items() if name != key}
    if value is not None:
        wanted = {**_read(text), key: value}
    changed = _changed(text, key, value)
    try:
        if _read(changed) == _normal(wanted):
            return changed
    except tomllib.TOMLDecodeError:
        pass  # the guess at where the entry stands was wrong; the file is written anew below
    return write_toml(wanted)


def change_entries(text: str, changes: Mapping[str, Any | None]) -> str:
    """The file with these keys changed as `change_entry` does, read and written once for all of them."""
    sections = {key: value for key, value in changes.items() if value is None or isinstance(value, Mapping)}
    for key, value in changes.items():
        if key not in sections:
            text = change_entry(text, key, value)
    was = _read(text)
    wanted = {key: value for key, value in was.items() if sections.get(key, value) is not None}
    wanted |= {key: value for key, value in sections.items() if value is not None}
    changed = _with_sections(text, sections)
    try:
        if _read(changed) == _normal(wanted):
            return changed
    except tomllib.TOMLDecodeError:
        pass  # as in change_entry
    return write_toml(wanted)


def _with_sections(text: str, sections: Mapping[str, Mapping[str, Any] | None]) -> str:
    """The text with these sections in place of those of their keys, from the last to the first; new ones at the end."""
    lines = text.splitlines(keepends=True)
    if lines and not lines[-1].endswith("\n"):
        lines[-1] += "\n"
    starts: dict[str, int] = {}
    for i, line in enumerate(lines):
        name = _name_of(line)
        if name is not None:
            starts.setdefault(name.strip("\"'"), i)
    for key, value in sections.items():
        if key not in starts and value is not None:
            lines += [*(["\n"] if lines else []), *_section(key, value).splitlines(keepends=True)]
    standing = sorted((key for key in sections if key in starts), key=lambda key: -starts[key])
    for key in standing:
        start, end = _section_span(lines, key, starts[key])
        value = sections[key]
        lines[start:end] = [] if value is None else _section(key, value).splitlines(keepends=True)
    return "".join(lines)


def _read(text: str) -> dict[str, Any]:
    return tomllib.loads(text, parse_float=Decimal)


def _normal(table: Mapping[str, Any]) -> dict[str, Any]:
    """The table as it reads once written: tuples are lists, and so on."""
    return _read(write_toml(table))


def _changed(text: str, key: str, value: Any | None) -> str:
    lines = text.splitlines(keepends=True)
    if lines and not lines[-1].endswith("\n"):
        lines[-1] += "\n"
    if isinstance(value, Mapping) or any(_is_header_of(line, key) for line in lines):
        start, end = _section_place(lines, key)
        fresh = [] if value is None else [_section(key, value) if isinstance(value, Mapping) else _line(key, value)]
        if start == len(lines) and lines and fresh:
            fresh = ["\n", *fresh]
    else:
        start, end = _line_place(lines, key)
        fresh = [] if value is None else [_line(key, value)]
    return "".join([*lines[:start], *fresh, *lines[end:]])


def _section_place(lines: list[str], key: str) -> tuple[int, int]:
    """Where the section of this key stands, without the comments above the next one; the end where there is none."""
    start = next((i for i, line in enumerate(lines) if _is_header_of(line, key)), None)
    return (len(lines), len(lines)) if start is None else _section_span(lines, key, start)


def _section_span(lines: list[str], key: str, start: int) -> tuple[int, int]:
    """Where the section of this key ends that starts at this line."""
    end = start + 1
    while end < len(lines) and not (_HEADER.fullmatch(lines[end].rstrip("\n")) and not _is_part_of(lines[end], key)):
        end += 1
    if end < len(lines):
        while end > start + 1 and (not lines[end - 1].strip() or lines[end - 1].lstrip().startswith("#")):
            end -= 1
    return start, end


def _line_place(lines: list[str], key: str) -> tuple[int, int]:
    """Where the single value of this key stands; where it is not there, the place below the comments at the head."""
    names = "|".join(re.escape(one) for one in (key, f'"{key}"', f"'{key}'"))
    for i, line in enumerate(lines):
        if _HEADER.fullmatch(line.rstrip("\n")):
            break
        if re.match(rf"\s*({names})\s*=", line):
            return i, i + 1
    head = 0
    while head < len(lines) and lines[head].startswith("#"):
        head += 1
    return head, head


def _name_of(line: str) -> str | None:
    found = _HEADER.fullmatch(line.rstrip("\n"))
    return None if found is None else found["name"]


def _is_header_of(line: str, key: str) -> bool:
    return _name_of(line) in (key, f'"{key}"', f"'{key}'")


def _is_part_of(line: str, key: str) -> bool:
    name = _name_of(line) or ""
    return name.startswith((f"{key}.", f'"{key}".', f"'{key}'."))


def _section(key: str, table: Mapping[str, Any]) -> str:
    return f"[{_key(key)}]\n" + "".join(_line(name, value) for name, value in table.items())


def _line(key: str, value: Any) -> str:
    text = f"{_key(key)} = {_value(value)}"
    if isinstance(value, list | tuple) and len(text) > _WIDE:
        rows = "".join(f"    {_value(one)},\n" for one in value)
        text = f"{_key(key)} = [\n{rows}]"
    return text + "\n"


def _key(key: str) -> str:
    return key if _BARE.fullmatch(key) else _text(key)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, Decimal):
        return _decimal(value)
    if isinstance(value, int):
        return str(value)
    if isinstance(value, datetime.date | datetime.time):
        return value.isoformat()
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_key(name)} = {_value(one)}" for name, one in value.items()) + "}"
    return "[" + ", ".join(_value(one) for one in value) + "]"


def _decimal(value: Decimal) -> str:
    if not value.is_finite():
        return "nan" if value.is_nan() else "inf" if value > 0 else "-inf"
    text = f"{value:f}"
    return text if "." in text else f"{text}.0"


def _text(value: str) -> str:
    def escaped(letter: str) -> str:
        if letter in _ESCAPES:
            return _ESCAPES[letter]
        return letter if letter >= " " and letter != "\x7f" else f"\\u{ord(letter):04x}"

    return '"' + "".join(map(escaped, value)) + '"'

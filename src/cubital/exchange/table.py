"""One table of a site's file, read key by key; every fault becomes a finding and reading goes on."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping
from decimal import Decimal
from fractions import Fraction

from cubital.model import Finding
from cubital.units import exact

MOST_TEXT = 300
MOST_UL = 100_000


def show(value: object) -> str:
    """How a value of a TOML file is quoted in a finding: short, and on one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        short = value if len(value) <= 60 else value[:57] + "..."
        return f'"{"".join(c if c.isprintable() else "?" for c in short)}"'
    if isinstance(value, int | Decimal):
        try:
            return str(value)[:40]
        except ValueError:  # an int of more digits than Python converts
            return "a number of thousands of digits"
    if isinstance(value, Mapping):
        return "a table"
    if isinstance(value, list | tuple):
        return "a list"
    return str(value)[:40]


def near_misses(word: str, known: Iterable[str], *, most: int = 3, least_ratio: float = 0.6) -> list[str]:
    """The known words that this one is probably a slip for, closest first."""
    import difflib

    by_fold = {k.casefold(): k for k in known}
    if len(word) > 80:
        return []
    folded = word.casefold().replace("_", "-")
    for spelling in (word.casefold(), folded, folded.replace("-", "_")):
        if spelling in by_fold:
            return [by_fold[spelling]]
    return [by_fold[k] for k in difflib.get_close_matches(folded, by_fold, most, least_ratio)]


def _choose(word: str, options: tuple[str, ...]) -> str:
    """What to write for this word: every option that it is a part of, for one of several is not guessed."""
    inside = [option for option in options if word.casefold() in option.split("-")]
    if len(inside) > 1:
        *others, last = (f'"{option}"' for option in inside)
        return f"write {', '.join(others)} or {last}, whichever it is"
    near = near_misses(word, options)
    return f'write "{near[0]}"' if near else "write one of them"


class Table:
    """One TOML table and the place it stands, for findings that name file and entry."""

    def __init__(
        self,
        content: Mapping[str, object],
        *,
        file: str,
        findings: list[Finding],
        header: str = "",
        path: str = "",
    ) -> None:
        self.content = content
        self.file = file
        self.findings = findings
        self.header = header
        self.path = path

    def place(self, key: str = "") -> str:
        """Where a key of this table stands, as `[k2-edta] sizes[0].draw_ml`."""
        dot = "." if self.path and key and not key.startswith("[") else ""
        return f"{self.header} {self.path}{dot}{key}".strip()

    def fault(self, key: str, *, found: object, expected: str, remedy: str, level: str = "error") -> None:
        """Note one finding about a key of this table."""
        self.findings.append(
            Finding(
                level=level,  # type: ignore[arg-type]
                file=self.file,
                entry=self.place(key),
                found=found if isinstance(found, _Words) else show(found),
                expected=expected,
                remedy=remedy,
            )
        )

    def missing(self, key: str, *, expected: str) -> None:
        """Note that a key that must be written is not there."""
        self.fault(key, found=_Words("nothing"), expected=expected, remedy=f"write {key}")

    def refuse_unknown(self, known: Iterable[str]) -> None:
        """Note every key that nothing reads, with the key it is probably a slip for."""
        known = tuple(known)
        for key in self.content:
            if key not in known:
                near = near_misses(key, known)
                remedy = f"write {near[0]}" if near else "remove it"
                expected = "one of " + ", ".join(known) if len(known) <= 12 else "a key of the site contract"
                self.fault(_safe(key), found=_Words("an unknown key"), expected=expected, remedy=remedy)

    def text(self, key: str, *, default: str | None = None) -> str | None:
        """The text of a key, or the default where it is absent or faulty."""
        if key not in self.content:
            return default
        value = self.content[key]
        if is_text(value):
            return str(value).strip()
        self.fault(
            key,
            found=value,
            expected=f"text of 1 to {MOST_TEXT} printable characters",
            remedy="write it in quotes",
        )
        return default

    def words(self, key: str) -> tuple[str, ...]:
        """The texts of a list, or none where it is absent."""
        value = self.content.get(key, [])
        if not isinstance(value, list):
            self.fault(key, found=value, expected="a list of texts", remedy='write it in brackets, such as ["K"]')
            return ()
        for i, word in enumerate(value):
            if not is_text(word):
                self.fault(f"{key}[{i}]", found=word, expected="printable text", remedy="write it in quotes")
        return tuple(w.strip() for w in value if is_text(w))

    def flag(self, key: str, *, default: bool = False) -> bool:
        """Whether a key is true."""
        value = self.content.get(key, default)
        if not isinstance(value, bool):
            self.fault(key, found=value, expected="true or false", remedy="write true or false without quotes")
            return default
        return value

    def choice(self, key: str, options: Iterable[str], *, default: str | None = None) -> str | None:
        """The word of a closed list that a key holds, or the default where it is absent or faulty."""
        if key not in self.content:
            return default
        value = self.content[key]
        options = tuple(options)
        if isinstance(value, str) and value in options:
            return value
        remedy = _choose(value, options) if isinstance(value, str) else "write one of them"
        self.fault(key, found=value, expected="one of " + ", ".join(options), remedy=remedy)
        return default

    def share(self, key: str, *, least: str, most: str, default: Fraction | None) -> Fraction | None:
        """A share of one between two bounds (the lower is left out when it is 0)."""
        if key not in self.content:
            return default
        value = self.content[key]
        low, high = Fraction(least), Fraction(most)
        expected = f"a share {'above' if low == 0 else 'from'} {least} to {most}"
        try:
            number = exact(value if not isinstance(value, str) else None, where=key)
        except ValueError:
            self.fault(key, found=value, expected=expected, remedy="write a number without quotes")
            return default
        if low <= number <= high and number != 0:
            return number
        share = number / 100
        remedy = f"write {Decimal(share.numerator) / share.denominator}" if low <= share <= high else "correct it"
        self.fault(key, found=value, expected=expected, remedy=remedy if number > 1 else "correct it")
        return default

    def draw_ul(self, key: str, *, most_ml: int) -> int | None:
        """A volume written in millilitres, in whole microlitres; above 0 and at most so many mL."""
        value = self.content[key]
        expected = f"millilitres, at most {most_ml}"
        try:
            volume_ml = exact(value if not isinstance(value, str) else None, where=key)
        except ValueError:
            self.fault(key, found=value, expected=expected, remedy="write a number without quotes")
            return None
        volume_ul = volume_ml * 1000
        if not 0 < volume_ml <= most_ml:
            thousandth = volume_ml / 1000
            remedy = f"write {float(thousandth)}" if 0 < thousandth <= most_ml else "write the draw in mL"
            self.fault(key, found=value, expected=expected, remedy=remedy)
            return None
        if volume_ul.denominator != 1:
            self.fault(key, found=value, expected="whole microlitres", remedy="write at most three decimals")
            return None
        return volume_ul.numerator

    def whole(self, key: str, *, least: int, most: int, unit: str) -> int | None:
        """A whole number between two bounds, or None where it is absent or faulty."""
        if key not in self.content:
            return None
        value = self.content[key]
        expected = f"whole {unit} from {least} to {most}"
        try:
            number = exact(value if not isinstance(value, str) else None, where=key)
        except ValueError:
            self.fault(key, found=value, expected=expected, remedy="write a whole number without quotes")
            return None
        if number.denominator == 1 and least <= number <= most:
            return number.numerator
        thousandfold = number * 1000
        is_ml = unit == "microlitres" and 0 < number < least + 1 and thousandfold.denominator == 1
        self.fault(key, found=value, expected=expected, remedy=f"write {thousandfold}" if is_ml else "correct it")
        return None

    def day(self, key: str) -> datetime.date | None:
        """A calendar day, or None where it is absent or faulty."""
        if key not in self.content:
            return None
        value = self.content[key]
        if isinstance(value, datetime.date) and not isinstance(value, datetime.datetime):
            return value
        self.fault(key, found=value, expected="a day", remedy="write it as 2027-03-31 without quotes")
        return None

    def tables(self, key: str) -> list[Table]:
        """The tables of a list, each with its place."""
        value = self.content.get(key, [])
        if not isinstance(value, list):
            self.fault(key, found=value, expected="a list of tables", remedy="write it as [{...}]")
            return []
        rows = []
        for i, row in enumerate(value):
            if isinstance(row, dict):
                rows.append(self.inner(row, f"{key}[{i}]"))
            else:
                self.fault(f"{key}[{i}]", found=row, expected="a table", remedy="write it as {...}")
        return rows

    def table(self, key: str) -> Table | None:
        """The table of a key, with its place, or None where it is absent or faulty."""
        if key not in self.content:
            return None
        value = self.content[key]
        if isinstance(value, dict):
            return self.inner(value, key)
        self.fault(key, found=value, expected="a table", remedy="write it as {...}")
        return None

    def section(self, key: str) -> Table | None:
        """The table `[key]` of a file, named by its header in findings; None where absent or faulty."""
        table = self.table(key)
        if table is None:
            return None
        return Table(table.content, file=self.file, findings=self.findings, header=f"[{key}]")

    def inner(self, content: Mapping[str, object], key: str) -> Table:
        """A table that stands inside this one."""
        path = f"{self.path}.{key}" if self.path else key
        return Table(content, file=self.file, findings=self.findings, header=self.header, path=path)


class _Words(str):
    """What was found, already in words."""


def words(text: str) -> str:
    """Text that a finding prints as it is, without quotes."""
    return _Words(text)


def is_text(value: object) -> bool:
    """Whether this is text that can be printed on a label: not empty, no control characters."""
    return isinstance(value, str) and len(value.strip()) > 0 and len(value) <= MOST_TEXT and value.isprintable()


def _safe(key: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in key[:60])

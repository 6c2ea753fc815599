"""A form of one entry of a site: what was typed to values of a file, findings to fields, and a change to save."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Any, Protocol

import msgspec

from cubital.app.site_changes import say_value
from cubital.app.site_editing import SiteVersions
from cubital.app.site_edition import Edition, EntryChanges, Proposal
from cubital.errors import SiteError
from cubital.model import Finding

_WHOLE = re.compile(r"-?[0-9]{1,15}")
_NUMBER = re.compile(r"-?[0-9]{1,12}\.[0-9]{1,9}")
_PATH = re.compile(r"(?P<name>\w+)(\[(?P<row>[0-9]+)\])?(\.(?P<field>[\w-]+))?.*")
# How a file is written does not matter to one who fills in a form.
_OF_FILES = (" without quotes", " in quotes")
Values = dict[str, Any]
"""The values of an entry by field, each in one form: lists, tables, whole numbers, exact numbers, days, texts."""


class Fields(Protocol):
    """What was typed into a form."""

    def said(self, name: str) -> str:
        """What was typed under this name; empty where nothing was."""
        ...

    def all_said(self, name: str) -> list[str]:
        """Everything that was chosen under this name."""
        ...


class Typed(msgspec.Struct, frozen=True, kw_only=True):
    """The values that a form states. `rows` says for a list which row of the form each of its items stood in."""

    values: Values
    rows: Mapping[str, tuple[int, ...]] = {}


class Form(msgspec.Struct, frozen=True, kw_only=True):
    """One kind of entry: its file, how an edition states it, how a form does, and how a change is put into files.

    `before` is None where the edition has no such entry. `put` gives the entries that the changed fields come to.
    """

    file: str
    before: Callable[[Edition, str], Values | None]
    read: Callable[[Fields, Values | None], Typed]
    put: Callable[[Edition, str, Values], EntryChanges]
    headers: Callable[[str], tuple[tuple[str, str, str], ...]]
    """For a key: file, header of an entry in findings, and the field that such a finding belongs to, empty for any."""


class Edit(msgspec.Struct, frozen=True, kw_only=True):
    """A form looked over: what it states, what saving it would make, and what was found at which field.

    `base` is the version that the form is of now, the newest one; `opened` the one that it was of when it was sent.
    `clashes` are the fields that this form and someone else's version changed, with what the other one states.
    """

    key: str
    base: int
    opened: int
    values: Values
    changed: Values
    entries: EntryChanges
    proposal: Proposal
    at_field: Mapping[str, tuple[Finding, ...]]
    elsewhere: tuple[Finding, ...]
    clashes: Mapping[str, Any]

    @property
    def is_sound(self) -> bool:
        """Whether nothing stops it from being saved."""
        return self.proposal.site is not None

    @property
    def is_stale(self) -> bool:
        """Whether someone else saved since the form was opened."""
        return self.opened != self.base


def look_at(
    form: Form,
    versions: SiteVersions,
    key: str,
    fields: Fields,
    *,
    today: date,
    is_new: bool = False,
    is_drawn_anew: bool = True,
) -> Edit:
    """What this form would make of the newest version; only what was changed in it since it was opened is put in.

    `is_drawn_anew` says that the whole form is shown again, its rows numbered from the first; else findings go to
    the rows as they were typed. Raises `SiteError` where there is no such entry, or, of a new one, is one already.
    """
    newest = versions.newest()
    opened = _opened(versions, newest, fields.said("base"))
    before = None if is_new else form.before(opened, key)
    now = form.before(newest, key)
    _refuse_key(key, is_new=is_new, is_known=now is not None and (is_new or before is not None))
    typed = form.read(fields, before)
    changed = {name: value for name, value in typed.values.items() if value != (before or {}).get(name)}
    entries = form.put(newest, key, changed) if changed else {}
    proposal = versions.propose(newest, entries, today=today)
    at_field, elsewhere = _sorted(
        (*proposal.findings, *_unheard(form, key, changed, proposal)), proposal.fresh, form.headers(key),
        {} if is_drawn_anew else typed.rows,
    )  # fmt: skip
    return Edit(
        key=key, base=newest.number, opened=opened.number,
        values=typed.values if now in (None, before) else {**(now or {}), **changed},
        changed=changed, entries=entries, proposal=proposal, at_field=at_field, elsewhere=elsewhere,
        clashes=_clashes(before, now, changed),
    )  # fmt: skip


def _refuse_key(key: str, *, is_new: bool, is_known: bool) -> None:
    if is_new and is_known:
        raise SiteError(f"found an entry [{key[:60]}] already; expected a new key; open that one", where="key")
    if not is_new and not is_known:
        raise SiteError("found no such entry; expected one of the list", where=key[:60])


def _clashes(before: Values | None, now: Values | None, changed: Values) -> Values:
    """The fields changed here that another version changed to something else, with what it says of them."""
    if before is None or now is None:
        return {}
    return {name: now.get(name) for name in changed if now.get(name) not in (before.get(name), changed[name])}


def _unheard(form: Form, key: str, changed: Values, proposal: Proposal) -> Iterator[Finding]:
    """A finding for every field that was emptied and is filled again by the shipped entry."""
    if proposal.site is None:
        return
    heard = form.before(_as_edition(proposal), key) or {}
    for name, value in changed.items():
        if value in (None, "") and heard.get(name) not in (None, ""):
            yield Finding(
                level="warning", file=form.file, entry=f"[{key}] {name}", found="nothing",
                expected="a value of the site's own", remedy=f"the shipped one stays: {say_value(heard[name])}",
            )  # fmt: skip


def _as_edition(proposal: Proposal) -> Edition:
    assert proposal.site is not None
    return msgspec.structs.replace(proposal.base, tables=proposal.tables, site=proposal.site)


def open_form(form: Form, versions: SiteVersions, key: str, *, today: date) -> Edit:
    """The form of an entry as the newest version states it, with what is found in it; raises `SiteError` where none."""
    newest = versions.newest()
    values = form.before(newest, key)
    if values is None:
        raise SiteError("found no such entry; expected one of the list", where=key[:60])
    proposal = versions.propose(newest, {}, today=today)
    at_field, _ = _sorted(proposal.findings, (), form.headers(key), {})
    return Edit(
        key=key, base=newest.number, opened=newest.number, values=values, changed={}, entries={},
        proposal=proposal, at_field=at_field, elsewhere=(), clashes={},
    )  # fmt: skip


def open_filled(
    form: Form, versions: SiteVersions, key: str, filled: Values, *, today: date, is_new: bool = False
) -> Edit:
    """The form of an entry, or of a new one, with these fields filled in already, looked over and not saved.

    Raises `SiteError` where there is no such entry, or, of a new one, is one already.
    """
    newest = versions.newest()
    before = form.before(newest, key)
    _refuse_key(key, is_new=is_new, is_known=before is not None)
    changed = {name: value for name, value in filled.items() if value != (before or {}).get(name)}
    entries = form.put(newest, key, changed) if changed else {}
    proposal = versions.propose(newest, entries, today=today)
    at_field, elsewhere = _sorted(proposal.findings, proposal.fresh, form.headers(key), {})
    return Edit(
        key=key, base=newest.number, opened=newest.number, values={**(before or {}), **filled}, changed=changed,
        entries=entries, proposal=proposal, at_field=at_field, elsewhere=elsewhere, clashes={},
    )  # fmt: skip


def _opened(versions: SiteVersions, newest: Edition, base: str) -> Edition:
    """The version that a form was opened with; the newest one where it does not say."""
    if not base.strip():
        return newest
    if not (base.isascii() and base.isdigit() and len(base) < 9):
        raise SiteError("found no number of a version; load the page again", where="base")
    return versions.at(int(base))


def _sorted(
    findings: Iterable[Finding], fresh: Iterable[Finding], headers: Sequence[tuple[str, str, str]],
    rows: Mapping[str, tuple[int, ...]],
) -> tuple[dict[str, tuple[Finding, ...]], tuple[Finding, ...]]:  # fmt: skip
    """The findings of this entry by field, "" where a finding is of no single one; and what is new elsewhere."""
    at_field: dict[str, tuple[Finding, ...]] = {}
    own = set()
    for one in findings:
        field = _field_of(one, headers, rows)
        if field is not None:
            own.add(one)
            at_field[field] = (*at_field.get(field, ()), spoken(one))
    return at_field, tuple(spoken(one) for one in fresh if one not in own)


def _field_of(one: Finding, headers: Sequence[tuple[str, str, str]], rows: Mapping[str, tuple[int, ...]]) -> str | None:
    for file, header, field in headers:
        if one.file == file and (one.entry == header or one.entry.startswith(f"{header} ")):
            return field or _field_at(one.entry.removeprefix(header).strip(), rows)
    return None


def _field_at(path: str, rows: Mapping[str, tuple[int, ...]]) -> str:
    """The name of the field for a place in an entry.

    >>> _field_at("accepts[1].volume_ul", {"accepts": (0, 4)}), _field_at("codes.loinc", {}), _field_at("also[2]", {})
    ('accepts.4.volume_ul', 'codes', 'also')
    """
    found = _PATH.fullmatch(path)
    if found is None:
        return ""
    name, row, field = found["name"], found["row"], found["field"]
    if row is not None and field is not None:
        known = rows.get(name, ())
        return f"{name}.{known[int(row)] if int(row) < len(known) else row}.{field}"
    # Codes stand in one box together.
    return f"{name}.{field}" if field is not None and name != "codes" else name


def spoken(one: Finding) -> Finding:
    """The finding as one says it to a person at a form, who writes no quotes."""
    for words in _OF_FILES:
        if one.remedy.endswith(words):
            return msgspec.structs.replace(one, remedy=one.remedy.removesuffix(words))
    return one


def number(text: str) -> int | Decimal | str | None:
    """The number that was typed; the text itself where it is none, so that the lint names it; None for nothing.

    >>> number(" 20 "), number("2.70"), number("2,7"), number("")
    (20, Decimal('2.70'), '2,7', None)
    """
    said = text.strip()
    if _WHOLE.fullmatch(said):
        return int(said)
    if _NUMBER.fullmatch(said):
        return Decimal(said)
    return said or None


def day(text: str) -> date | str | None:
    """The day that was typed; the text itself where it is none; None for nothing."""
    said = text.strip()
    try:
        return date.fromisoformat(said) if len(said) == 10 else said or None
    except ValueError:
        return said


def words(text: str) -> list[str]:
    """The words between commas and on lines of their own.

    >>> words("Na,  sodium ion" + chr(10) + "S-Na,")
    ['Na', 'sodium ion', 'S-Na']
    """
    return [one.strip() for one in re.split(r"[,\n]", text) if one.strip()]


def lines(text: str) -> list[str]:
    """The lines that hold anything."""
    return [one.strip() for one in text.splitlines() if one.strip()]


def read_codes(text: str) -> dict[str, str]:
    """A code system and its code on each line; a line of one word is a code of no system, which the lint refuses.

    >>> read_codes("loinc 2823-3")
    {'loinc': '2823-3'}
    """
    pairs = (line.rsplit(maxsplit=1) for line in lines(text))
    return {pair[0]: pair[1] if len(pair) > 1 else "" for pair in pairs}


def known_of(values: Mapping[str, Any]) -> Values:
    """The values without those that are not known."""
    return {name: value for name, value in values.items() if value is not None}

"""An explanation: statements, each with the kind of truth it is and the sources behind it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import msgspec

from cubital import facts
from cubital.model import Reason

EXPLANATION_FORMAT = "cubital.explanation/1"
# What a reason of a plan may rest on beyond the marks of facts.
_OWN_BASES = {"site": "this site's own file"}


class Statement(msgspec.Struct, frozen=True, kw_only=True):
    """One thing that is held, and what it rests on, in words; `sources` are keys, none where there is none."""

    text: str
    rests_on: str
    sources: tuple[str, ...] = ()


class Section(msgspec.Struct, frozen=True, kw_only=True):
    """Statements about one question."""

    title: str
    statements: tuple[Statement, ...]


class Explanation(msgspec.Struct, frozen=True, kw_only=True):
    """Everything known of one subject."""

    subject: str
    title: str
    sections: tuple[Section, ...]


def citations(explanations: Iterable[Explanation]) -> tuple[tuple[str, str], ...]:
    """The key and the citation of every source that these name, in the order they first come."""
    lines = (line for told in explanations for section in told.sections for line in section.statements)
    keys = dict.fromkeys(key for line in lines for key in line.sources)
    return tuple((key, facts.sources()[key].citation()) for key in keys)


def explanation_document(explanations: Iterable[Explanation]) -> dict[str, Any]:
    """These explanations and the sources they name, as one JSON object."""
    told = tuple(explanations)
    return {
        "format": EXPLANATION_FORMAT,
        "explanations": msgspec.to_builtins(told),
        "sources": dict(citations(told)),
    }


def marked(text: str, marks: facts.Mark | Iterable[facts.Mark]) -> Statement:
    """A statement that rests on these marks; their notes are kept, for rivals differ in them."""
    several = (marks,) if isinstance(marks, facts.Mark) else tuple(marks)
    return Statement(
        text=text,
        rests_on="; ".join(_words(mark) for mark in several),
        sources=tuple(dict.fromkeys(mark.source for mark in several if has_text(mark.source))),
    )


def _words(mark: facts.Mark) -> str:
    place = f", {mark.locator}" if mark.locator else ""
    note = f": {mark.note}" if mark.note else ""
    return f"{mark.label()}{place}{note}"


def basis_words(basis: str, sources: tuple[str, ...]) -> str:
    """What a reason rests on, in a few words.

    >>> basis_words("common-practice", ("common-practice",)), basis_words("computed", ())
    ('common practice, no source', 'computed')
    """
    if basis in _OWN_BASES:
        return _OWN_BASES[basis]
    source = sources[0] if sources else "computed"
    return facts.Mark(basis=basis, source=source).label()  # type: ignore[arg-type]


def of_reason(reason: Reason, *, prefix: str = "") -> Statement:
    """A plan's reason as a statement."""
    return Statement(
        text=prefix + reason.text,
        rests_on=basis_words(reason.basis, reason.sources),
        sources=tuple(key for key in reason.sources if has_text(key)),
    )


def of_claim(text: str, claim: tuple[str, str] | None) -> Statement:
    """A statement that rests on one claim of the directory; without one it is the site's own."""
    basis, source = claim or ("site", "site")
    return Statement(
        text=text,
        rests_on=basis_words(basis, (source,)),
        sources=(source,) if has_text(source) else (),
    )


def has_text(source: str) -> bool:
    """Whether this source is a text that can be cited, and not a word for having none."""
    return source in facts.sources() and source not in ("common-practice", "memory", "computed")


def sections_of(*sections: tuple[str, Iterable[Statement]]) -> tuple[Section, ...]:
    """The sections that hold anything."""
    made = (Section(title=title, statements=tuple(statements)) for title, statements in sections)
    return tuple(section for section in made if section.statements)

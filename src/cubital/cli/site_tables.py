"""What taking tables into a site says at the prompt, in words and as JSON."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from cubital.cli.findings import finding_lines

if TYPE_CHECKING:
    from cubital.app.site_exchange import SiteImport, TableChange

MOST_NAMED = 8


def import_document(found: SiteImport, *, is_written: bool) -> dict[str, Any]:
    """The import as JSON."""
    return {
        "format": "cubital.site-import/1",
        "usable": found.is_usable,
        "written": is_written and found.is_usable,
        "changes": [
            {
                "file": c.file, "added": list(c.added), "changed": list(c.changed), "missing": list(c.missing),
                "removed": c.is_removing and bool(c.missing),
            }
            for c in found.changes
        ],
        "findings": [{f: getattr(one, f) for f in one.__struct_fields__} for one in found.findings],
        "unread": list(found.unread),
    }  # fmt: skip


def import_lines(found: SiteImport, *, folder: str, is_trial: bool) -> Iterator[str]:
    """The import in words: findings first, then what changes, then what was done."""
    yield from finding_lines(found.findings)
    if not found.is_usable:
        errors = sum(one.level == "error" for one in found.findings)
        yield f"{folder}: nothing was changed; {errors} error{'s' * (errors != 1)}"
        return
    for change in found.changes:
        yield from _change_lines(change)
    if not found.is_changing:
        yield f"{folder}: nothing to change"
    elif is_trial:
        yield f"{folder}: would be changed; nothing was written"
    else:
        yield f"{folder}: changed; the files as they were end in .before"


def _change_lines(change: TableChange) -> Iterator[str]:
    for what, keys in (("added", change.added), ("changed", change.changed)):
        if keys:
            yield f"{change.file}: {what} {_named(keys)}"
    if change.missing and change.is_removing:
        yield f"{change.file}: taken out {_named(change.missing)}"
    elif change.missing:
        yield f"{change.file}: not in the table and kept {_named(change.missing)}; --replace takes them out"


def _named(keys: Sequence[str]) -> str:
    shown = ", ".join(keys[:MOST_NAMED])
    more = f" and {len(keys) - MOST_NAMED} more" if len(keys) > MOST_NAMED else ""
    return f"{len(keys)}: {shown}{more}"

"""What the prompt says when something is wrong: on stderr in words, with --json on stdout as a document."""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from cubital.errors import CubitalError
    from cubital.model import Plan, Site

REFUSED = 2
SOME_FAILED = 1
UNSETTLED = 3


def complain(error: CubitalError, *, site: Site | None = None) -> None:
    """Say on stderr what is wrong and where; then every further finding, or the tests that may be meant."""
    print(f"cubital: {error}", file=sys.stderr)
    for line in getattr(error, "findings", ()):
        if line not in error.message:
            print(f"  {line}", file=sys.stderr)
    for key in (*getattr(error, "near", ()), *_keys(error, site)):
        print(f"  {key:<32} {_name(key, site)}".rstrip(), file=sys.stderr)


def complain_unsettled(plan: Plan, *, place: str = "", site: Site | None = None) -> None:
    """Say on stderr which words of the order the plan leaves out, each with the tests that may be meant."""
    from msgspec.structs import replace

    from cubital.planning.settling import error_of

    for one in plan.unsettled:
        error = error_of(one)
        if place and not error.where.startswith(place):
            error = error_of(replace(one, where=f"{place}: {one.where}"))
        complain(error, site=site)


def document(error: CubitalError, **more: Any) -> dict[str, Any]:
    """The error as the JSON that stands in a plan's place."""
    from cubital.exchange.plan_json import error_document

    return {**error_document(error, id=more.pop("id", None)), **more}


def write_json(value: Mapping[str, Any]) -> None:
    """One document on one line of stdout."""
    print(json.dumps(value, ensure_ascii=True, allow_nan=False))


def _keys(error: CubitalError, site: Site | None) -> tuple[str, ...]:
    """The choices of an error that are keys of the directory, as those of an ambiguous name are."""
    choices: tuple[str, ...] = getattr(error, "choices", ())
    return tuple(c for c in choices if site is not None and (c in site.tests or c in site.panels))


def _name(key: str, site: Site | None) -> str:
    if site is None:
        return ""
    record = site.tests.get(key) or site.panels.get(key)
    return record.name if record is not None else ""

"""Writes the table of routes in docs/reference/web.md from the one table that the gate goes by.

Run it after adding a page: `.venv/bin/python scripts/write_web_reference.py`. A test compares the two.
"""

from __future__ import annotations

from pathlib import Path

from cubital.model.account import ROLES
from cubital.web.pages import PAGES, Page

REFERENCE = Path(__file__).resolve().parents[1] / "docs" / "reference" / "web.md"
HEAD = "| route | methods | roles | takes at most |\n| --- | --- | --- | --- |\n"


def roles_of(page: Page) -> str:
    """Who may open it, in words."""
    if page.roles is None:
        return "everyone"
    if page.roles == frozenset(ROLES):
        return "whoever is signed in"
    return ", ".join(role for role in ROLES if role in page.roles)


def row(page: Page) -> str:
    """One line of the table."""
    takes = f"{page.most_bytes // 1024} KiB" if "POST" in page.answers else ""
    files = f", {page.most_files} file{'' if page.most_files == 1 else 's'}" if page.most_files else ""
    return f"| `{page.path}` | {', '.join(page.answers)} | {roles_of(page)} | {takes}{files} |\n"


def table() -> str:
    """The whole table."""
    return HEAD + "".join(row(page) for page in PAGES)


def with_table(text: str) -> str:
    """This page with the table as it is now."""
    before, _, rest = text.partition(HEAD)
    lines = rest.splitlines(keepends=True)
    after = next((n for n, line in enumerate(lines) if not line.startswith("|")), len(lines))
    return before + table() + "".join(lines[after:])


if __name__ == "__main__":
    REFERENCE.write_text(with_table(REFERENCE.read_text(encoding="utf-8")), encoding="utf-8")
    print(f"wrote {len(PAGES)} routes")

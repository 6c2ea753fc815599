"""Saved versions of a site: who, when, why; and what one version says that another does not."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from datetime import datetime

import msgspec

SiteFiles = Mapping[str, str]
"""A site as the text of its files by name: `site.toml`, `tubes.toml`, `tests.toml` and the others that it has."""


class SiteVersion(msgspec.Struct, frozen=True, kw_only=True):
    """One saved version; number 0 is the folder as it was found at the first save.

    `restores` is the number of the version that this one brings back, None where it brings back none.
    """

    site: str
    number: int
    at: datetime
    account: str
    note: str
    restores: int | None = None


class SiteDraft(msgspec.Struct, frozen=True, kw_only=True):
    """What one account has brought in and not saved yet: the files, and the version that they were made from."""

    account: str
    site: str
    base: int
    made_at: datetime
    origin: str
    files: SiteFiles

    @property
    def digest(self) -> str:
        """What stands for this content on a page that shows it: SHA-256 of the files and the version below them."""
        return hashlib.sha256(json.dumps([self.base, dict(self.files)], sort_keys=True).encode()).hexdigest()


class SiteChange(msgspec.Struct, frozen=True, kw_only=True):
    """One value that differs between two versions; `was` or `now` is None where it is not there.

    `entry` is the key of a test, kind, panel or section of the policy; `field` is empty for a whole entry.
    """

    file: str
    entry: str
    field: str
    was: str | None
    now: str | None


class LoggedOrder(msgspec.Struct, frozen=True, kw_only=True):
    """One order without its patient, as JSON, and how often it was asked."""

    body: str
    times: int

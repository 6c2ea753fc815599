"""One version of a site as it is used, and what a change would make of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import msgspec

from cubital.model import Finding, Site
from cubital.model.site_version import SiteChange, SiteFiles, SiteVersion

EntryChanges = Mapping[str, Mapping[str, Any]]
"""New entries by file and key, whole; None takes an entry out of the site's own file."""


class Edition(msgspec.Struct, frozen=True, kw_only=True):
    """One version of a site as it is used: `number` 0 and no `version` is the folder, with nothing saved yet.

    `findings` are those of reading its files.
    """

    number: int
    version: SiteVersion | None
    files: SiteFiles
    tables: Mapping[str, Mapping[str, Any]]
    site: Site
    findings: tuple[Finding, ...] = ()


class Proposal(msgspec.Struct, frozen=True, kw_only=True):
    """What a change would make of an edition; `site` is None where an error stops it.

    `findings` are all of the new site, `fresh` those that the edition does not have.
    """

    base: Edition
    tables: Mapping[str, Mapping[str, Any]]
    site: Site | None
    findings: tuple[Finding, ...]
    fresh: tuple[Finding, ...]
    changes: tuple[SiteChange, ...]

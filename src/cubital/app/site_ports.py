"""What the versions of a site need from outside: a database that keeps them."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import AbstractContextManager
from typing import Protocol

from cubital.model.site_version import LoggedOrder, SiteDraft, SiteFiles, SiteVersion


class SiteShelf(Protocol):
    """The versions, drafts and logged orders of sites, within one transaction."""

    def newest(self, site: str) -> SiteVersion | None:
        """The newest version of this site; None where none was saved."""
        ...

    def version(self, site: str, number: int) -> SiteVersion | None:
        """The version of this number."""
        ...

    def versions(self, site: str, *, most: int, before: int | None = None) -> tuple[SiteVersion, ...]:
        """The newest versions, newest first."""
        ...

    def files(self, site: str, number: int) -> SiteFiles:
        """The files of a version; empty where there is none of this number."""
        ...

    def has(self, site: str, files: SiteFiles) -> bool:
        """Whether some version of this site has exactly these files."""
        ...

    def add(self, version: SiteVersion, files: SiteFiles) -> None:
        """Keep one more version."""
        ...

    def draft(self, account: str) -> SiteDraft | None:
        """What this account has brought in and not saved."""
        ...

    def keep_draft(self, draft: SiteDraft) -> None:
        """Keep it in place of an older one of the account."""
        ...

    def drop_draft(self, account: str) -> None:
        """Forget what this account brought in."""
        ...

    def orders(self, site: str) -> tuple[LoggedOrder, ...]:
        """The logged orders of this site."""
        ...

    def keep_orders(self, site: str, orders: Sequence[LoggedOrder]) -> None:
        """Keep these in place of all older ones."""
        ...


class SiteStore(Protocol):
    """A database that holds versions of sites."""

    def reading(self) -> AbstractContextManager[SiteShelf]:
        """A transaction that only reads."""
        ...

    def writing(self) -> AbstractContextManager[SiteShelf]:
        """A transaction that no other writer of versions overlaps."""
        ...

    def close(self) -> None:
        """Give back every connection."""
        ...

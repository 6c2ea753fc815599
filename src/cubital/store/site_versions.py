"""Versions of a site, drafts and logged orders in SQLite or PostgreSQL, as the use cases ask for them."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Connection, Engine, Row, delete, select

from cubital.errors import BrokenChain
from cubital.model.site_version import LoggedOrder, SiteDraft, SiteFiles, SiteVersion
from cubital.store.books import Books
from cubital.store.tables import order_log, site_draft, site_file, site_version

# Not the numbers by which the record and the accounts lock: a saved site waits for no event and no sign-in.
_LOCK = 0x637562736974


def sql_site_versions(engine: Engine) -> Books[SqlSiteShelf]:
    """The versions in one database."""
    return Books(engine, SqlSiteShelf, lock=_LOCK)


class SqlSiteShelf:
    """The versions within one transaction."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def newest(self, site: str) -> SiteVersion | None:
        """The newest version of this site; None where none was saved."""
        found = self.versions(site, most=1)
        return found[0] if found else None

    def version(self, site: str, number: int) -> SiteVersion | None:
        """The version of this number."""
        query = select(site_version).where(site_version.c.site == site, site_version.c.number == number)
        row = self._connection.execute(query).first()
        return None if row is None else _version(row)

    def versions(self, site: str, *, most: int, before: int | None = None) -> tuple[SiteVersion, ...]:
        """The newest versions, newest first; `before` goes on from the one of that number."""
        query = select(site_version).where(site_version.c.site == site).order_by(site_version.c.number.desc())
        if before is not None:
            query = query.where(site_version.c.number < before)
        return tuple(_version(row) for row in self._connection.execute(query.limit(most)))

    def files(self, site: str, number: int) -> SiteFiles:
        """The files of a version; empty where there is none of this number.

        Raises `BrokenChain` where a file is not the one that was saved.
        """
        query = select(site_version.c.files).where(site_version.c.site == site, site_version.c.number == number)
        found = self._connection.execute(query).scalar()
        digests: dict[str, str] = {} if found is None else json.loads(found)
        rows = self._connection.execute(select(site_file).where(site_file.c.digest.in_(list(digests.values()))))
        bodies = {row.digest: row.body for row in rows}
        for name, digest in digests.items():
            if _digest(bodies.get(digest, "")) != digest:
                raise BrokenChain(
                    f"found another text than was saved; expected the one of digest {digest[:12]}; restore a backup",
                    where=f"version {number} {name}",
                    sequence=number,
                )
        return {name: bodies[digest] for name, digest in digests.items()}

    def has(self, site: str, files: SiteFiles) -> bool:
        """Whether some version of this site has exactly these files."""
        query = select(site_version.c.number).where(site_version.c.site == site, site_version.c.files == _listed(files))
        return self._connection.execute(query.limit(1)).first() is not None

    def add(self, version: SiteVersion, files: SiteFiles) -> None:
        """Keep one more version; a file that an older one has is not kept twice."""
        digests = {name: _digest(text) for name, text in files.items()}
        query = select(site_file.c.digest).where(site_file.c.digest.in_(list(digests.values())))
        known = set(self._connection.execute(query).scalars())
        fresh = {digests[name]: text for name, text in files.items() if digests[name] not in known}
        if fresh:
            self._connection.execute(site_file.insert(), [{"digest": d, "body": text} for d, text in fresh.items()])
        row = {name: getattr(version, name) for name in version.__struct_fields__}
        self._connection.execute(site_version.insert(), [{**row, "at": _text(version.at), "files": _listed(files)}])

    def draft(self, account: str) -> SiteDraft | None:
        """What this account has brought in and not saved."""
        row = self._connection.execute(select(site_draft).where(site_draft.c.account == account)).first()
        if row is None:
            return None
        return SiteDraft(
            account=row.account, site=row.site, base=row.base, made_at=_moment(row.made_at), origin=row.origin,
            files=json.loads(row.files),
        )  # fmt: skip

    def keep_draft(self, draft: SiteDraft) -> None:
        """Keep it in place of an older one of the account."""
        self.drop_draft(draft.account)
        row = {name: getattr(draft, name) for name in draft.__struct_fields__}
        self._connection.execute(
            site_draft.insert(), [{**row, "made_at": _text(draft.made_at), "files": json.dumps(dict(draft.files))}]
        )

    def drop_draft(self, account: str) -> None:
        """Forget what this account brought in."""
        self._connection.execute(delete(site_draft).where(site_draft.c.account == account))

    def orders(self, site: str) -> tuple[LoggedOrder, ...]:
        """The logged orders of this site, in the order they were kept."""
        query = select(order_log).where(order_log.c.site == site).order_by(order_log.c.number)
        return tuple(LoggedOrder(body=row.body, times=row.times) for row in self._connection.execute(query))

    def keep_orders(self, site: str, orders: Sequence[LoggedOrder]) -> None:
        """Keep these in place of all older ones."""
        self._connection.execute(delete(order_log).where(order_log.c.site == site))
        rows = [
            {"site": site, "number": number, "body": one.body, "times": one.times}
            for number, one in enumerate(orders, start=1)
        ]
        if rows:
            self._connection.execute(order_log.insert(), rows)


def _listed(files: SiteFiles) -> str:
    """The names of these files with their digests, the same for the same files."""
    return json.dumps({name: _digest(text) for name, text in files.items()}, sort_keys=True)


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _text(moment: datetime) -> str:
    """An instant whose texts sort as the instants do."""
    return f"{moment.astimezone(UTC):%Y-%m-%dT%H:%M:%S.%fZ}"


def _moment(text: str) -> datetime:
    return datetime.fromisoformat(text)


def _version(row: Row[Any]) -> SiteVersion:
    return SiteVersion(
        site=row.site, number=row.number, at=_moment(row.at), account=row.account, note=row.note,
        restores=row.restores,
    )  # fmt: skip

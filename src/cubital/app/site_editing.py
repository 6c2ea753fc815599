"""Versions of a site as use cases: the newest one, a change looked over before it is saved, saving, undoing."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Any

from cubital.app.clock import today as read_today
from cubital.app.ports import Now
from cubital.app.site_changes import changes_between, lost_panels
from cubital.app.site_edition import Edition, EntryChanges, Proposal
from cubital.app.site_folder import look_over
from cubital.app.site_ports import SiteShelf, SiteStore
from cubital.app.wiring import change_files, read_site_tables, tables_of, zip_site
from cubital.errors import OtherDraft, SiteError, StaleSite
from cubital.model import Finding
from cubital.model.site_version import LoggedOrder, SiteChange, SiteDraft, SiteFiles, SiteVersion
from cubital.planning.lint import KeptLint

MOST_NOTE = 500
BASE_NOTE, FOLDER_NOTE = "the folder as it was found", "the folder taken in again"


class SiteVersions:
    """Everything that is asked of the versions of one site; the clock `now` comes in.

    `base` are the files of the site's folder. They are never written: what is saved stands in the store.
    """

    def __init__(self, store: SiteStore, base: SiteFiles, *, folder: str, now: Now) -> None:
        self._store, self._now, self._folder = store, now, folder
        # What was read and found in single tests, so that a form of one of a thousand is looked over as one types.
        self._read: dict[Any, Any] = {}
        self._linted = KeptLint()
        self._base = self._edition(None, dict(base))
        self.key = self._base.site.name
        self._kept = self._base
        self._looked_over: tuple[tuple[Finding, ...], Edition | None, datetime.date | None] = ((), None, None)

    def close(self) -> None:
        """Give back the database."""
        self._store.close()

    @property
    def folder(self) -> str:
        """The name of the site's folder, which is the site's where its policy states none."""
        return self._folder

    def newest(self) -> Edition:
        """What is used now: the newest saved version, else the folder.

        Raises `SiteError` where this program cannot use what was saved.
        """
        with self._store.reading() as shelf:
            return self._newest(shelf)

    def at(self, number: int) -> Edition:
        """The version of this number; raises `SiteError` where there is none."""
        with self._store.reading() as shelf:
            return self._at(shelf, number)

    def history(self, *, most: int = 50, before: int | None = None) -> tuple[SiteVersion, ...]:
        """The versions, newest first."""
        with self._store.reading() as shelf:
            return shelf.versions(self.key, most=most, before=before)

    def changes(self, older: int, newer: int) -> tuple[SiteChange, ...]:
        """What the newer of these two versions says that the older does not, value by value."""
        with self._store.reading() as shelf:
            return changes_between(self._at(shelf, older).tables, self._at(shelf, newer).tables)

    def is_folder_new(self) -> bool:
        """Whether versions were saved and the folder on disk is none of them: it was changed by hand since."""
        with self._store.reading() as shelf:
            return shelf.newest(self.key) is not None and not shelf.has(self.key, self._base.files)

    def folder_files(self) -> SiteFiles:
        """The files of the folder as the server found them at its start."""
        return self._base.files

    def propose(self, base: Edition, changes: EntryChanges, *, today: datetime.date | None = None) -> Proposal:
        """What these entries would make of this edition; nothing is saved."""
        tables = {file: dict(table) for file, table in base.tables.items()}
        for file, entries in changes.items():
            kept = tables.setdefault(file, {})
            for key, value in entries.items():
                if value is None:
                    kept.pop(key, None)
                else:
                    kept[key] = value
        return self._proposal(base, tables, today)

    def propose_files(self, base: Edition, files: SiteFiles, *, today: datetime.date | None = None) -> Proposal:
        """What these files would make of this edition, as `propose`; raises `SiteError` where one is no TOML."""
        return self._proposal(base, tables_of(files), today)

    def save(self, account: str, base: int, changes: EntryChanges, note: str) -> SiteVersion:
        """Save the newest version with these entries changed, as the next version.

        Raises `StaleSite` where `base` is not the newest version any more, and `SiteError` for a note
        that says nothing or a change that cannot be used.
        """
        with self._store.writing() as shelf:
            newest = self._need(shelf, base)
            return self._add(shelf, newest, change_files(newest.files, changes), account, note)

    def save_files(
        self, account: str, base: int, files: SiteFiles, note: str, *, restores: int | None = None
    ) -> SiteVersion:
        """Save these files as the next version; raises as `save` does."""
        with self._store.writing() as shelf:
            return self._add(shelf, self._need(shelf, base), files, account, note, restores=restores)

    def restore(self, account: str, base: int, number: int, note: str) -> SiteVersion:
        """Save what an older version held as the next version; raises as `save` does."""
        with self._store.writing() as shelf:
            newest = self._need(shelf, base)
            old = self._at(shelf, number)
            return self._add(shelf, newest, old.files, account, note, restores=number)

    def archive(self, number: int) -> bytes:
        """This version as a zip archive of a site's folder, as the commands read it."""
        return zip_site(self.at(number).files, folder=self._folder or "site")

    def draft(self, account: str) -> SiteDraft | None:
        """What this account brought in for this site and has not saved."""
        with self._store.reading() as shelf:
            return self._draft_of(shelf, account)

    def keep_draft(self, account: str, base: int, files: SiteFiles, *, origin: str) -> None:
        """Keep what this account brings in, until it is saved or dropped."""
        kept = SiteDraft(
            account=account, site=self.key, base=base, made_at=self._now(), origin=origin[:300], files=dict(files)
        )
        with self._store.writing() as shelf:
            shelf.keep_draft(kept)

    def save_draft(self, account: str, shown: str, note: str) -> SiteVersion:
        """Save what this account brought in as the next version; raises as `save` and `need_draft` do."""
        with self._store.writing() as shelf:
            draft = self._draft(shelf, account, shown)
            newest = self._need(shelf, draft.base)
            saved = self._add(shelf, newest, draft.files, account, note or f"brought in {draft.origin}")
            shelf.drop_draft(account)
            return saved

    def need_draft(self, account: str, shown: str) -> SiteDraft:
        """What this account brought in, which must be what it was shown: the draft of this digest.

        Raises `SiteError` where nothing is there, and `OtherDraft` where another file came in since.
        """
        with self._store.reading() as shelf:
            return self._draft(shelf, account, shown)

    def drop_draft(self, account: str, shown: str) -> None:
        """Forget what this account brought in; raises as `need_draft` does."""
        with self._store.writing() as shelf:
            self._draft(shelf, account, shown)
            shelf.drop_draft(account)

    def orders(self) -> tuple[LoggedOrder, ...]:
        """The orders that were kept to try changes on."""
        with self._store.reading() as shelf:
            return shelf.orders(self.key)

    def keep_orders(self, orders: tuple[LoggedOrder, ...]) -> None:
        """Keep these orders to try changes on, in place of all older ones."""
        with self._store.writing() as shelf:
            shelf.keep_orders(self.key, orders)

    def _draft_of(self, shelf: SiteShelf, account: str) -> SiteDraft | None:
        found = shelf.draft(account)
        return found if found is not None and found.site == self.key else None

    def _draft(self, shelf: SiteShelf, account: str, shown: str) -> SiteDraft:
        draft = self._draft_of(shelf, account)
        if draft is None:
            raise SiteError("found nothing that was brought in; bring the file in again", where="file")
        if draft.digest != shown:
            raise OtherDraft(
                f"found {draft.origin}, brought in at {draft.made_at:%H:%M:%S} UTC in another window; expected what "
                "this page showed; look this one over, or bring the other in again",
                where="file",
            )
        return draft

    def _newest(self, shelf: SiteShelf) -> Edition:
        version = shelf.newest(self.key)
        if version is None:
            return self._base
        kept = self._kept
        if kept.version != version:
            kept = self._kept = self._edition(version, shelf.files(self.key, version.number))
        return kept

    def _at(self, shelf: SiteShelf, number: int) -> Edition:
        newest = self._newest(shelf)
        if number == newest.number:
            return newest
        version = shelf.version(self.key, number)
        if version is None:
            raise SiteError(f"found no version {number}; expected one of the list", where="version")
        return self._edition(version, shelf.files(self.key, number))

    def _edition(self, version: SiteVersion | None, files: SiteFiles) -> Edition:
        where = "folder" if version is None else f"version {version.number}"
        tables = tables_of(files)
        site, _, findings = read_site_tables(tables, name=self._folder)
        errors = [str(one) for one in findings if one.level == "error"]
        if site is None or errors:
            raise SiteError(errors[0], where=where, findings=[str(one) for one in findings])
        number = 0 if version is None else version.number
        return Edition(number=number, version=version, files=files, tables=tables, site=site, findings=findings)

    def _need(self, shelf: SiteShelf, base: int) -> Edition:
        """The newest edition, which must be the one that a change was made from."""
        newest = self._newest(shelf)
        if newest.number != base:
            last = newest.version
            who = "someone" if last is None else last.account
            raise StaleSite(
                f"{who} saved version {newest.number} since; this change was made from version {base}; "
                "look at what changed and save again",
                where="site", expected=base, found=newest.number, by=who, at=None if last is None else last.at,
            )  # fmt: skip
        return newest

    def _add(
        self, shelf: SiteShelf, newest: Edition, files: SiteFiles, account: str, note: str, *,
        restores: int | None = None,
    ) -> SiteVersion:  # fmt: skip
        said = " ".join(note.split())
        if not said or len(said) > MOST_NOTE or not said.isprintable():
            raise SiteError(
                f"found {len(said)} letters; expected why this is saved, in 1 to {MOST_NOTE} letters", where="note"
            )
        proposal = self._proposal(newest, tables_of(files), None)
        if proposal.site is None:
            errors = [str(one) for one in proposal.findings if one.level == "error"]
            raise SiteError(errors[0], where="site", findings=errors)
        if not proposal.changes:
            raise SiteError("found nothing changed; expected a change; nothing was saved", where="site")
        if newest.version is None:
            base = SiteVersion(site=self.key, number=0, at=self._now(), account="", note=BASE_NOTE)
            shelf.add(base, self._base.files)
        made = SiteVersion(
            site=self.key, number=newest.number + 1, at=self._now(), account=account, note=said, restores=restores
        )
        shelf.add(made, files)
        return made

    def _proposal(
        self, base: Edition, tables: Mapping[str, Mapping[str, Any]], today: datetime.date | None
    ) -> Proposal:
        day = today or read_today()
        known = self._look_over(base, day)
        changes = changes_between(base.tables, tables)
        if not changes:
            return Proposal(base=base, tables=tables, site=base.site, findings=known, fresh=(), changes=())
        site, lost, read = read_site_tables(tables, name=self._folder, kept=self._read)
        gone = () if site is None else lost_panels(base.site, site)
        findings = look_over(site, lost, (*read, *gone), today=day, kept=self._linted)
        has_error = any(one.level == "error" for one in findings)
        told = frozenset(known)
        return Proposal(
            base=base, tables=tables, site=None if has_error else site, findings=findings,
            fresh=tuple(one for one in findings if one not in told), changes=changes,
        )  # fmt: skip

    def _look_over(self, edition: Edition, day: datetime.date) -> tuple[Finding, ...]:
        """What is found in an edition, worked out once a day."""
        found, of, on = self._looked_over
        if of is not edition or on != day:
            found = look_over(edition.site, frozenset(), edition.findings, today=day)
            self._looked_over = (found, edition, day)
        return found

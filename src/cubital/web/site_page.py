"""The Site page: the test directory, the tube stock and the policy to browse; the versions, and what each changed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import msgspec
from starlette.responses import Response

from cubital.app.order_log import ReadLog, read_log
from cubital.app.site_browsing import TestList, browse_kinds, browse_tests
from cubital.app.site_editing import FOLDER_NOTE, SiteVersions
from cubital.app.site_edition import Edition, Proposal
from cubital.app.site_trial import Tried
from cubital.errors import CubitalError, SiteError
from cubital.model import PlannedTube, TubeKind
from cubital.model.site_version import SiteVersion
from cubital.web.tube_picture import TubePicture, picture_of_kind
from cubital.web.visit import Visit

EDITORS = frozenset({"supervisor", "administrator"})
MOST_LOG_BYTES = 20 * 1024 * 1024
MOST_AT_ONCE_BYTES = 256 * 1024
"""A log up to this is read while the page is waited for; a larger one apart from it, with its progress."""
_NO_ORDER = "Found no order in this file, or too many lines that cannot be read; nothing was kept."
_FAILED = "This file could not be read to its end: a defect of cubital. Nothing of it was kept."
_SHOWN, _VERSIONS = 30, 50
_NUMBER_LENGTH = 9


def sites_of(visit: Visit) -> SiteVersions:
    """The versions of the site that this server serves."""
    assert visit.desk.sites is not None
    return visit.desk.sites


def try_on_orders(visit: Visit, proposal: Proposal) -> Tried | None:
    """What this change would do to last month's orders; None where an error stops it."""
    desk = visit.desk
    assert desk.trials is not None
    return desk.trials.try_change(proposal, desk.record, now=desk.now(), today=desk.today())


def may_edit(visit: Visit) -> bool:
    """Whether this visitor may change the site."""
    return visit.visitor is not None and visit.visitor.account.role in EDITORS


def frame(visit: Visit, edition: Edition, part: str) -> dict[str, Any]:
    """What every part of the page shows at its head."""
    site = edition.site
    return {
        "part": part, "edition": edition, "may_edit": may_edit(visit), "error": None,
        "counts": {"tests": len(site.tests) + len(site.panels), "stock": len(site.kinds)},
        "is_folder_new": may_edit(visit) and sites_of(visit).is_folder_new(),
    }  # fmt: skip


def open_tests(visit: Visit) -> Response:
    """The test directory, searched as one types; the rows alone where only they were asked."""
    edition = sites_of(visit).newest()
    asked = {name: visit.query.get(name, "")[:80] for name in ("q", "bench", "tube")}
    start = number_of(visit.query.get("start", "")) or 0
    proposal = sites_of(visit).propose(edition, {}, today=visit.desk.today())
    found: TestList = browse_tests(
        edition, visit.desk.directory, text=asked["q"], bench=asked["bench"], tube=asked["tube"],
        findings=proposal.findings, start=start, most=_SHOWN,
    )  # fmt: skip
    benches = sorted({test.bench for test in edition.site.tests.values()})
    context = {**frame(visit, edition, "tests"), "asked": asked, "found": found, "benches": benches, "shown": _SHOWN}
    return visit.page("site_rows.html" if visit.is_partial else "site.html", context)


class ShelfRow(msgspec.Struct, frozen=True, kw_only=True):
    """One tube kind of the stock with the drawing of its largest size."""

    row: Any
    picture: TubePicture


def open_stock(visit: Visit) -> Response:
    """The tube stock: every kind drawn, with its sizes, how many there are and until when."""
    edition = sites_of(visit).newest()
    proposal = sites_of(visit).propose(edition, {}, today=visit.desk.today())
    rows = browse_kinds(edition, findings=proposal.findings, today=visit.desk.today())
    shelf = [ShelfRow(row=row, picture=drawn(row.kind)) for row in rows]
    return visit.page("site_stock.html", {**frame(visit, edition, "stock"), "shelf": shelf})


def drawn(kind: TubeKind) -> TubePicture:
    """The drawing of a kind's largest size."""
    size = max(kind.sizes, key=lambda one: one.draw_ul)
    is_bottle = kind.additive in ("culture-medium", "sps")
    tube = PlannedTube(
        position=1, draw=1, purpose="culture" if is_bottle else "collect", kind=kind.key, name=kind.name,
        additive=kind.additive, gel=kind.gel, draw_ul=size.draw_ul, stopper=kind.stopper, mark=kind.mark,
        liquid_additive_ul=size.liquid_additive_ul,
    )  # fmt: skip
    return picture_of_kind(tube)


def open_versions(visit: Visit) -> Response:
    """Every saved version, newest first."""
    return _versions_page(visit)


def open_version(visit: Visit) -> Response:
    """One version: who saved it, when and why, and what it changed."""
    number = number_of(visit.query.get("number", ""))
    try:
        if number is None:
            raise SiteError("found no number; expected one of the list", where="version")
        edition = sites_of(visit).at(number)
        changes = sites_of(visit).changes(number - 1, number) if number else ()
    except SiteError as error:
        return _versions_page(visit, error, status=404)
    newest = sites_of(visit).newest()
    context = {"version": edition.version, "changes": changes, "newest": newest.number, "note": ""}
    return visit.page("site_version.html", {**frame(visit, newest, "versions"), **context})


def restore(visit: Visit) -> Response:
    """Bring an older version back as a new one, or take the folder in again."""
    assert visit.visitor is not None
    sites, account = sites_of(visit), visit.visitor.account.name
    base = number_of(visit.said("base"))
    try:
        if base is None:
            raise SiteError("found no number of a version; load the page again", where="base")
        saved = _restored(visit, sites, account, base)
    except SiteError as error:
        return _versions_page(visit, error, status=409)
    note_saved(visit, saved)
    return visit.go(f"/site/version?number={saved.number}")


def _restored(visit: Visit, sites: SiteVersions, account: str, base: int) -> SiteVersion:
    if visit.said("do") == "folder":
        return sites.save_files(account, base, sites.folder_files(), visit.said("note") or FOLDER_NOTE)
    number = number_of(visit.said("number"))
    if number is None:
        raise SiteError("found no number; expected one of the list", where="version")
    return sites.restore(account, base, number, visit.said("note"))


def note_saved(visit: Visit, saved: SiteVersion) -> None:
    """Write into the trail that a version of the site was saved."""
    visit.desk.accounts.note(visit.visitor, "saved the site", about=f"version {saved.number}")


def export_folder(visit: Visit) -> Response:
    """The version in use, or the one that was named, as a folder in an archive."""
    number = number_of(visit.query.get("number", ""))
    sites = sites_of(visit)
    try:
        wanted = sites.newest().number if number is None else number
        data = sites.archive(wanted)
    except SiteError as error:
        return _versions_page(visit, error, status=404)
    headers = {"Content-Disposition": f'attachment; filename="site-version-{wanted}.zip"'}
    return Response(data, media_type="application/zip", headers=headers)


def open_orders(visit: Visit) -> Response:
    """The orders that a change is tried on, and a place to bring in a log of them."""
    return _orders_page(visit)


def keep_orders(visit: Visit) -> Response:
    """Keep the orders of a log without their patients, or forget those that are kept."""
    assert visit.visitor is not None
    sites, account = sites_of(visit), visit.visitor.account.name
    if visit.said("do") == "stop":
        visit.desk.readings.forget(account)
        return visit.go("/site/orders")
    if visit.said("do") == "forget":
        sites.keep_orders(())
        return visit.go("/site/orders")
    brought = visit.file("log")
    if brought is None or not brought[1].strip():
        return _orders_page(visit, said="Found no file, or an empty one. Choose a file of orders.", status=422)
    import io

    stream, desk, visitor = io.BytesIO(brought[1]), visit.desk, visit.visitor

    def read(step: Callable[[int], None]) -> ReadLog:
        return read_log(stream, desk.site, where="log", today=desk.today(), step=lambda: step(stream.tell()))

    def keep(log: ReadLog) -> None:
        sites.keep_orders(log.orders)
        desk.accounts.note(visitor, "brought in a log of orders", about=f"{log.read} orders")

    if len(brought[1]) > MOST_AT_ONCE_BYTES:
        desk.readings.start(account, len(brought[1]), read, keep=keep)
        return visit.go("/site/orders")
    log = read(lambda done: None)
    if not log.orders:
        return _orders_page(visit, log=log, said=_NO_ORDER, status=422)
    keep(log)
    return _orders_page(visit, log=log)


def _orders_page(visit: Visit, *, log: ReadLog | None = None, said: str = "", status: int = 200) -> Response:
    assert visit.visitor is not None
    edition, account = sites_of(visit).newest(), visit.visitor.account.name
    reading = visit.desk.readings.of(account)
    if reading is not None and reading.is_over:
        # Told once.
        visit.desk.readings.forget(account)
        log = log or reading.log
        said = said or (_FAILED if reading.has_failed else _NO_ORDER if log is not None and not log.orders else "")
        reading = None
    kept = sites_of(visit).orders()
    context = {
        "log": log, "said": said, "different": len(kept), "times": sum(one.times for one in kept), "reading": reading,
    }  # fmt: skip
    return visit.page("site_orders.html", {**frame(visit, edition, "versions"), **context}, status=status)


def _versions_page(visit: Visit, error: CubitalError | None = None, *, status: int = 200) -> Response:
    sites = sites_of(visit)
    before = number_of(visit.query.get("before", ""))
    history = sites.history(most=_VERSIONS, before=before)
    older = history[-1].number if len(history) == _VERSIONS and history[-1].number else None
    context = {**frame(visit, sites.newest(), "versions"), "history": history, "older": older, "error": error}
    return visit.page("site_versions.html", context, status=status)


def number_of(text: str) -> int | None:
    """The number in this text; None for anything else.

    >>> number_of("12"), number_of("-1"), number_of("1" * 40)
    (12, None, None)
    """
    return int(text) if text.isascii() and text.isdigit() and len(text) <= _NUMBER_LENGTH else None

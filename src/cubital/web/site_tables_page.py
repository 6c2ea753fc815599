"""The tables of the Site page: the site out to a spreadsheet or as FHIR, and in again, looked over before a save."""

from __future__ import annotations

from typing import Any

from starlette.responses import Response

from cubital.app.site_edition import Edition
from cubital.app.site_exchange import SiteImport, export_site, import_site, left_out
from cubital.errors import CubitalError, ExchangeError, OtherDraft, SiteError, StaleSite
from cubital.model.site_version import SiteDraft
from cubital.web.site_page import frame, note_saved, sites_of, try_on_orders
from cubital.web.visit import Visit

MOST_TABLE_BYTES = 10 * 1024 * 1024
_WORKBOOK = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
# What each format is called on the page, the name of its file and its media type.
FORMATS = {
    "xlsx": ("Workbook, XLSX", "site.xlsx", _WORKBOOK),
    "csv": ("All tables, CSV in a zip", "site-tables.zip", "application/zip"),
    "tests.csv": ("Tests, CSV", "tests.csv", "text/csv; charset=utf-8"),
    "tubes.csv": ("Tube stock, CSV", "tubes.csv", "text/csv; charset=utf-8"),
    "policy.csv": ("Policy, CSV", "policy.csv", "text/csv; charset=utf-8"),
    "fhir": ("Tests, FHIR R4 SpecimenDefinition", "specimen-definitions.json", "application/fhir+json"),
}


def open_tables(visit: Visit) -> Response:
    """What goes out, and what was brought in and is not saved yet."""
    return _page(visit)


def send_table(visit: Visit) -> Response:
    """The version in use as a file of the format that was named."""
    found = FORMATS.get(visit.query.get("format", ""))
    if found is None:
        error = ExchangeError(f"found no such format; expected one of {', '.join(FORMATS)}", where="format")
        return _page(visit, error=error, status=404)
    data = export_site(sites_of(visit).newest().site, visit.query["format"], today=visit.desk.today())
    headers = {"Content-Disposition": f'attachment; filename="{found[1]}"'}
    return Response(data, media_type=found[2], headers=headers)


def about_format(visit: Visit) -> str:
    """The format that is asked for, for the trail; nothing where there is no such one."""
    asked = visit.query.get("format", "")
    return asked if asked in FORMATS else ""


def change_tables(visit: Visit) -> Response:
    """Bring a file in, try what it changes, save it as a version, or throw it away."""
    assert visit.visitor is not None
    account, wanted = visit.visitor.account.name, visit.said("do")
    if wanted not in ("drop", "save", "try"):
        return _bring_in(visit, account)
    try:
        return _settle(visit, account, wanted)
    except (OtherDraft, StaleSite) as error:
        return _page(visit, error=error, status=409)
    except SiteError as error:
        return _page(visit, error=error, status=422)


def _settle(visit: Visit, account: str, wanted: str) -> Response:
    """Save, throw away or try what was brought in, if it is what the page showed."""
    shown = visit.said("draft")
    if wanted == "drop":
        sites_of(visit).drop_draft(account, shown)
        return visit.go("/site/tables")
    if wanted == "try":
        sites_of(visit).need_draft(account, shown)
        return _page(visit, is_tried=True)
    saved = sites_of(visit).save_draft(account, shown, visit.said("note"))
    note_saved(visit, saved)
    return visit.go(f"/site/version?number={saved.number}")


def _bring_in(visit: Visit, account: str) -> Response:
    sent = visit.file("table")
    newest = sites_of(visit).newest()
    try:
        if sent is None or not sent[1]:
            raise ExchangeError("found no file, or an empty one; choose a table of the site", where="file")
        brought = import_site(
            sent[1], onto=newest.files, name=sites_of(visit).folder, where=sent[0][:80] or "file",
            replace=bool(visit.said("replace")), today=visit.desk.today(),
        )  # fmt: skip
    except (ExchangeError, SiteError) as error:
        return _page(visit, error=error, status=422)
    if not brought.is_usable:
        return _page(visit, brought=brought, status=422)
    if not brought.is_changing:
        said = ExchangeError("found nothing that the site does not say already; nothing is kept", where="file")
        return _page(visit, brought=brought, error=said)
    sites_of(visit).keep_draft(account, newest.number, brought.files, origin=sent[0] or "a file")
    return _page(visit, brought=brought)


def _page(
    visit: Visit, *, brought: SiteImport | None = None, error: CubitalError | None = None, is_tried: bool = False,
    status: int = 200,
) -> Response:  # fmt: skip
    newest = sites_of(visit).newest()
    draft = None if visit.visitor is None else sites_of(visit).draft(visit.visitor.account.name)
    proposal = None if draft is None else sites_of(visit).propose_files(newest, draft.files, today=visit.desk.today())
    context: dict[str, Any] = {
        **frame(visit, newest, "versions"), "brought": brought, "draft": draft, "proposal": proposal, "error": error,
        "is_other": isinstance(error, OtherDraft), "is_stale": draft is not None and draft.base != newest.number,
        "since": _since(visit, draft, newest),
        "formats": [(key, words, left_out(key)) for key, (words, _, _) in FORMATS.items()],
        "tried": try_on_orders(visit, proposal) if is_tried and proposal is not None else None,
    }  # fmt: skip
    return visit.page("site_tables.html", context, status=status)


def _since(visit: Visit, draft: SiteDraft | None, newest: Edition) -> tuple[Any, ...]:
    """What others saved since the file was brought in."""
    if draft is None or draft.base == newest.number:
        return ()
    return sites_of(visit).changes(draft.base, newest.number)

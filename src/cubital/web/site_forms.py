"""The forms of the Site page: one entry each, its findings beside the fields, tried on orders, saved when asked."""

from __future__ import annotations

import re
import unicodedata
from collections import defaultdict
from collections.abc import Mapping
from typing import Any, get_args

import msgspec
from starlette.responses import Response

from cubital import facts
from cubital.app.explanation import citations
from cubital.app.site_browsing import OURS, marks_of_kind, marks_of_panel, marks_of_policy, marks_of_test, size_rows
from cubital.app.site_changes import say_value
from cubital.app.site_form import Edit, Values, look_at, open_filled, open_form
from cubital.app.site_kind_form import MOST_SIZES, own_kind
from cubital.app.site_panel_form import MOST_STEPS, own_panel
from cubital.app.site_policy_form import NO_LIMIT
from cubital.app.site_removal import look_at_removal, take_out
from cubital.app.site_test_form import MOST_ACCEPTS, own_test
from cubital.app.site_trial import Tried
from cubital.app.subject_explanation import explain_panel, explain_subject, explain_test
from cubital.errors import CubitalError, SiteError, StaleSite
from cubital.facts.directory import HANDLING
from cubital.facts.tubes import Use
from cubital.model.vocabulary import ACCESSES, ADDITIVES, MATRICES, OBJECTIVES, RANKS
from cubital.web.site_fields import (
    KIND,
    PANEL,
    POLICY,
    TEST,
    Sheet,
    codes_text,
    groups_text,
    lint_by_field,
    number_text,
    travel_text,
)
from cubital.web.site_page import drawn, frame, may_edit, note_saved, sites_of, try_on_orders
from cubital.web.visit import Visit

MOST_WORD, MOST_KEY = 100, 60
USES: tuple[str, ...] = get_args(Use)


def open_test(visit: Visit) -> Response:
    """One test: its form for who may change it, all that is known of it for everyone."""
    return _open(visit, TEST, visit.query.get("key", "")[:300])


def open_panel(visit: Visit) -> Response:
    """One panel: its form for who may change it, what it stands for to everyone."""
    return _open(visit, PANEL, visit.query.get("key", "")[:300])


def open_kind(visit: Visit) -> Response:
    """One tube kind: its form for who may change it, all that is known of it for everyone."""
    return _open(visit, KIND, visit.query.get("key", "")[:300])


def open_policy(visit: Visit) -> Response:
    """The policy."""
    return _open(visit, POLICY, "")


def change_test(visit: Visit) -> Response:
    """Look a test's form over, try it on orders, or save it."""
    return _change(visit, TEST)


def change_panel(visit: Visit) -> Response:
    """Look a panel's form over, try it on orders, or save it."""
    return _change(visit, PANEL)


def change_kind(visit: Visit) -> Response:
    """Look a tube kind's form over, try it on orders, or save it."""
    return _change(visit, KIND)


def change_policy(visit: Visit) -> Response:
    """Look the policy's form over, try it on orders, or save it."""
    return _change(visit, POLICY)


def _open(visit: Visit, sheet: Sheet, key: str) -> Response:
    is_new = bool(visit.query.get("new")) and may_edit(visit) and sheet is not POLICY
    if is_new:
        return _page(visit, sheet, _new(visit, sheet), is_new=True)
    called = _word(visit, "also")
    try:
        if called and may_edit(visit) and sheet in (TEST, PANEL):
            return _page(visit, sheet, _also_called(visit, sheet, key, called))
        edit = open_form(sheet.form, sites_of(visit), key, today=visit.desk.today())
    except SiteError as error:
        return _gone(visit, sheet, error)
    return _page(visit, sheet, edit)


def _word(visit: Visit, name: str) -> str:
    """A word that was met elsewhere and brought along, without what no name has."""
    return " ".join(visit.query.get(name, "")[:MOST_WORD].split())


def _new(visit: Visit, sheet: Sheet) -> Edit:
    """A new entry, its name and a key filled in where a word was met that the site lacks."""
    name = _word(visit, "name")
    if sheet is not TEST or not name:
        return _blank(visit)
    values: Values = defaultdict(_nothing)
    values["name"] = name
    try:
        edit = open_filled(
            TEST.form, sites_of(visit), key_of(name), {"name": name}, today=visit.desk.today(), is_new=True
        )
    except SiteError:
        # The key is another entry's: it is for the person to write one.
        edit = _blank(visit)
    return msgspec.structs.replace(edit, values=values)


def _also_called(visit: Visit, sheet: Sheet, key: str, word: str) -> Edit:
    """An entry with the word among its other names, looked over and not saved."""
    sites, today = sites_of(visit), visit.desk.today()
    also = open_form(sheet.form, sites, key, today=today).values["also"]
    return open_filled(sheet.form, sites, key, {"also": [*also, word]}, today=today)


def key_of(name: str) -> str:
    """A key made of a name: small letters, figures and hyphens.

    >>> key_of("Direct renin (mU/L)"), key_of("Müller  factor"), key_of("%")
    ('direct-renin-mu-l', 'muller-factor', '')
    """
    plain = unicodedata.normalize("NFKD", name.casefold()).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:MOST_KEY].strip("-")


def _blank(visit: Visit) -> Edit:
    newest = sites_of(visit).newest()
    proposal = sites_of(visit).propose(newest, {}, today=visit.desk.today())
    return Edit(
        key="", base=newest.number, opened=newest.number, values=defaultdict(_nothing), changed={}, entries={},
        proposal=proposal, at_field={}, elsewhere=(), clashes={},
    )  # fmt: skip


def _nothing() -> None:
    """The value of every field of an empty form."""


def _change(visit: Visit, sheet: Sheet) -> Response:
    is_new, key = bool(visit.said("new")), visit.said("key").strip()[:300]
    try:
        if is_new and not key:
            raise SiteError("found nothing; expected a key, such as thyroid-screen; write one", where="key")
        edit = look_at(
            sheet.form, sites_of(visit), key, visit, today=visit.desk.today(), is_new=is_new,
            is_drawn_anew=not visit.is_partial,
        )  # fmt: skip
    except SiteError as error:
        if visit.is_partial:
            return visit.page("site_lint.html", {"edit": None, "error": error, "lint": {}})
        if not is_new:
            return _gone(visit, sheet, error)
        typed = msgspec.structs.replace(_blank(visit), values=sheet.form.read(visit, None).values)
        return _page(visit, sheet, typed, is_new=True, error=error, status=422)
    if visit.is_partial:
        # Only rows that the form has now: there is no place for the findings of others.
        shown = tuple(field for field in sheet.fields if field.count(".") < 2 or visit.all_said(field))
        return visit.page("site_lint.html", {"edit": edit, "error": None, "lint": lint_by_field(shown, edit)})
    wanted = visit.said("do")
    if wanted == "save":
        return _save(visit, sheet, edit, is_new=is_new)
    if wanted == "take-back" and not is_new:
        return _save(visit, sheet, edit, is_new=is_new, is_out=True)
    tried = try_on_orders(visit, edit.proposal) if wanted == "try" else None
    return _page(visit, sheet, edit, is_new=is_new, tried=tried)


def _save(visit: Visit, sheet: Sheet, edit: Edit, *, is_new: bool, is_out: bool = False) -> Response:
    assert visit.visitor is not None
    if edit.is_stale:
        return _page(visit, sheet, edit, is_new=is_new, status=409)
    try:
        if is_out:
            saved = take_out(
                sheet.form, sites_of(visit), visit.visitor.account.name, edit.base, edit.key, visit.said("note"),
                with_panels=bool(visit.said("with_panels")),
            )  # fmt: skip
        else:
            saved = sites_of(visit).save(visit.visitor.account.name, edit.base, edit.entries, visit.said("note"))
    except StaleSite:
        # Saved by someone else between the look and the save: look again, and show what changed.
        again = look_at(sheet.form, sites_of(visit), edit.key, visit, today=visit.desk.today(), is_new=is_new)
        return _page(visit, sheet, again, is_new=is_new, status=409)
    except SiteError as error:
        return _page(visit, sheet, edit, is_new=is_new, error=error, status=422)
    note_saved(visit, saved)
    return visit.go(f"/site/version?number={saved.number}")


def _page(
    visit: Visit, sheet: Sheet, edit: Edit, *, is_new: bool = False, tried: Tried | None = None,
    error: CubitalError | None = None, status: int = 200,
) -> Response:  # fmt: skip
    base = edit.proposal.base
    since = sites_of(visit).changes(edit.opened, edit.base) if edit.is_stale else ()
    told = _told(visit, sheet, edit.key, is_new=is_new)
    context: dict[str, Any] = {
        **frame(visit, base, sheet.part), "edit": edit, "values": edit.values, "sheet": sheet, "is_new": is_new,
        "key": (visit.said("key") or edit.key) if is_new else edit.key, "word": _word(visit, "name"),
        "note": visit.said("note"), "tried": tried, "error": error,
        "marks": _marks(sheet, edit, is_new=is_new), "since": since, "options": _options(visit), "told": told,
        "sources": citations(told), "is_own": _is_own(sheet, edit), "ours": OURS,
        "codes_text": codes_text, "groups_text": groups_text, "travel_text": travel_text,
        "number_text": number_text, "removal": look_at_removal(sheet.form, base, edit.key),
        "clashes": {name: say_value(value) for name, value in edit.clashes.items()},
        "lint": lint_by_field(sheet.fields, edit), **_shelf(visit, sheet, edit, is_new=is_new),
    }  # fmt: skip
    return visit.page(sheet.template, context, status=status)


def _shelf(visit: Visit, sheet: Sheet, edit: Edit, *, is_new: bool) -> dict[str, Any]:
    """The drawing of a kind that is there, and how its sizes stand."""
    if sheet is not KIND or is_new:
        return {"picture": None, "stand": ()}
    kind = edit.proposal.base.site.kinds[edit.key]
    return {"picture": drawn(kind), "stand": tuple(size_rows(kind, visit.desk.today()))}


def _gone(visit: Visit, sheet: Sheet, error: SiteError) -> Response:
    context = {**frame(visit, sites_of(visit).newest(), sheet.part), "error": error, "noun": sheet.noun}
    return visit.page("site_gone.html", context, status=404)


def _told(visit: Visit, sheet: Sheet, key: str, *, is_new: bool) -> tuple[Any, ...]:
    site = visit.desk.site
    if sheet is TEST and not is_new and key in site.tests:
        return (explain_test(site.tests[key], site),)
    if sheet is PANEL and not is_new and key in site.panels:
        return (explain_panel(site.panels[key], site),)
    if sheet is KIND and not is_new:
        return explain_subject(key, site)
    return ()


def _marks(sheet: Sheet, edit: Edit, *, is_new: bool) -> Mapping[str, str]:
    if is_new:
        return defaultdict(str)
    edition = edit.proposal.base
    if sheet is POLICY:
        return marks_of_policy(edition)
    if sheet is PANEL:
        return marks_of_panel(edition, edit.key)
    return marks_of_test(edition, edit.key) if sheet is TEST else marks_of_kind(edition, edit.key)


def _is_own(sheet: Sheet, edit: Edit) -> bool:
    edition = edit.proposal.base
    own = {TEST.path: own_test, PANEL.path: own_panel, KIND.path: own_kind}.get(sheet.path)
    return own is not None and own(edition, edit.key) is not None


def _options(visit: Visit) -> dict[str, Any]:
    site = visit.desk.site
    return {
        "benches": sorted({test.bench for test in site.tests.values()}), "matrices": MATRICES,
        "kinds": [(kind.key, kind.mark, kind.name) for kind in site.kinds.values()], "most_accepts": MOST_ACCEPTS,
        "handling": [(term, facts.handling_terms()[term].instruction) for term in HANDLING],
        "accesses": [(key, facts.accesses()[key].name) for key in ACCESSES], "most_sizes": MOST_SIZES,
        "additives": [(key, facts.additives()[key].name) for key in ADDITIVES], "uses": USES,
        "policies": [(key, one.name) for key, one in facts.order_policies().items() if key != "skin-puncture"],
        "limits": [(key, one.name) for key, one in (*site.limits.items(), *facts.sampling_limits().items())]
        + [(NO_LIMIT, "no limit")],
        "moments": [(key, one.name) for key, one in facts.moments().items() if not one.draws],
        "anchors": list(facts.anchors()), "subjects": [(key, one.name) for key, one in facts.subjects().items()],
        "objectives": OBJECTIVES, "most_steps": MOST_STEPS, "ranks": RANKS,
        "tests": [(test.key, ", ".join((test.name, *test.also))) for test in site.tests.values()],
    }  # fmt: skip

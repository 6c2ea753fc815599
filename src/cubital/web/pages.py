"""The pages there are and who may open each: the one table that the gate and the menu go by."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

import msgspec
from starlette.responses import Response

from cubital.app.accounts import Visitor
from cubital.model.account import ROLES
from cubital.web import (
    account_pages,
    api,
    bench_add,
    bench_did,
    bench_page,
    bench_scan,
    bench_spin,
    bench_tube,
    door_pages,
    draw_page,
    explain_page,
    morning_page,
    results_page,
    site_forms,
    site_page,
    site_tables_page,
    take_page,
)
from cubital.web.visit import Visit

Handler = Callable[[Visit], Response]
EVERYONE: Final = None
"""Open to whoever can reach the server: the door itself, and how pages look."""
SIGNED_IN: Final = frozenset(ROLES)
MOST_BYTES, MOST_FIELDS = 256 * 1024, 200
"""The largest request that a page reads, and the most fields in it, unless its row says otherwise."""
BENCH: Final = frozenset({"processor", "supervisor", "administrator"})
LEARNING: Final = frozenset({"teacher", "student"})


class Page(msgspec.Struct, frozen=True, kw_only=True):
    """One address: what answers each method, who may, and its word in the menu.

    A page with `most_files` above 0 takes forms with files too (`multipart/form-data`), up to `most_bytes` in all.
    What is not `is_by_hand` is asked by the page itself, again and again, and keeps no session awake.
    What `is_json` takes and gives JSON, for programs; it asks for no token, see `web.api`.
    """

    path: str
    answers: Mapping[str, Handler]
    roles: frozenset[str] | None
    menu: str = ""
    most_bytes: int = MOST_BYTES
    most_fields: int = MOST_FIELDS
    most_files: int = 0
    is_by_hand: bool = True
    is_json: bool = False


PAGES: tuple[Page, ...] = (
    Page(path="/", answers={"GET": draw_page.go_to_draw}, roles=SIGNED_IN),
    Page(
        path="/draw", answers={"GET": draw_page.open_page, "POST": draw_page.plan}, roles=SIGNED_IN,
        menu="Draw", most_fields=draw_page.MOST_FIELDS,
    ),
    Page(
        path="/take", answers={"GET": take_page.open_page, "POST": take_page.begin}, roles=take_page.TAKERS,
        menu="Take", most_fields=draw_page.MOST_FIELDS,
    ),
    Page(path="/take/draws", answers={"GET": take_page.draws}, roles=take_page.TAKERS),
    Page(path="/take/tap", answers={"POST": take_page.tap}, roles=take_page.TAKERS),
    Page(path="/take/labels", answers={"POST": take_page.labels}, roles=take_page.TAKERS),
    Page(path="/take/shell", answers={"GET": take_page.shell}, roles=EVERYONE),
    Page(path="/take/worker.js", answers={"GET": take_page.worker}, roles=EVERYONE),
    Page(path="/bench", answers={"GET": bench_page.open_board}, roles=BENCH, menu="Bench"),
    Page(
        path="/morning", answers={"GET": morning_page.open_morning}, roles=LEARNING, menu="Bench",
    ),
    Page(path="/bench/due", answers={"GET": bench_page.due}, roles=BENCH, is_by_hand=False),
    Page(path="/bench/pulse", answers={"GET": bench_page.pulse}, roles=BENCH, is_by_hand=False),
    Page(path="/bench/tube", answers={"GET": bench_tube.open_form, "POST": bench_tube.receive_tube}, roles=BENCH),
    Page(path="/bench/did", answers={"POST": bench_did.write_deed}, roles=BENCH),
    Page(path="/bench/scan", answers={"POST": bench_scan.take_scan}, roles=BENCH),
    Page(path="/bench/spin", answers={"GET": bench_spin.open_spin, "POST": bench_spin.plan_or_record}, roles=BENCH),
    Page(path="/bench/add", answers={"GET": bench_add.open_add, "POST": bench_add.ask_or_book}, roles=BENCH),
    Page(path="/bench/demo", answers={"POST": bench_page.fill_demo}, roles=BENCH),
    Page(
        path="/results", answers={"GET": results_page.open_page, "POST": results_page.weigh}, roles=BENCH | LEARNING,
        menu="Results", most_bytes=results_page.MOST_FILE_BYTES + MOST_BYTES, most_files=1,
    ),
    Page(path="/explain", answers={"GET": explain_page.open_page}, roles=SIGNED_IN, menu="Explain"),
    Page(path="/explain/order", answers={"GET": explain_page.order}, roles=SIGNED_IN),
    Page(path="/explain/carry-over", answers={"GET": explain_page.carry}, roles=SIGNED_IN),
    Page(path="/explain/fill", answers={"GET": explain_page.fill}, roles=SIGNED_IN),
    Page(path="/explain/citrate", answers={"GET": explain_page.citrate}, roles=SIGNED_IN),
    Page(path="/explain/why", answers={"GET": explain_page.why}, roles=SIGNED_IN),
    Page(path="/site", answers={"GET": site_page.open_tests}, roles=SIGNED_IN, menu="Site"),
    Page(path="/site/stock", answers={"GET": site_page.open_stock}, roles=SIGNED_IN),
    Page(path="/site/test", answers={"GET": site_forms.open_test}, roles=SIGNED_IN),
    Page(path="/site/test/change", answers={"POST": site_forms.change_test}, roles=site_page.EDITORS),
    Page(path="/site/panel", answers={"GET": site_forms.open_panel}, roles=SIGNED_IN),
    Page(path="/site/panel/change", answers={"POST": site_forms.change_panel}, roles=site_page.EDITORS),
    Page(path="/site/kind", answers={"GET": site_forms.open_kind}, roles=SIGNED_IN),
    Page(path="/site/kind/change", answers={"POST": site_forms.change_kind}, roles=site_page.EDITORS),
    Page(path="/site/policy", answers={"GET": site_forms.open_policy}, roles=SIGNED_IN),
    Page(path="/site/policy/change", answers={"POST": site_forms.change_policy}, roles=site_page.EDITORS),
    Page(path="/site/versions", answers={"GET": site_page.open_versions}, roles=SIGNED_IN),
    Page(path="/site/version", answers={"GET": site_page.open_version}, roles=SIGNED_IN),
    Page(path="/site/restore", answers={"POST": site_page.restore}, roles=site_page.EDITORS),
    Page(path="/site/export", answers={"GET": site_page.export_folder}, roles=SIGNED_IN),
    Page(path="/site/tables", answers={"GET": site_tables_page.open_tables}, roles=SIGNED_IN),
    Page(path="/site/table", answers={"GET": site_tables_page.send_table}, roles=SIGNED_IN),
    Page(
        path="/site/tables/change", answers={"POST": site_tables_page.change_tables}, roles=site_page.EDITORS,
        most_bytes=site_tables_page.MOST_TABLE_BYTES, most_files=1,
    ),
    Page(
        path="/site/orders", answers={"GET": site_page.open_orders, "POST": site_page.keep_orders},
        roles=site_page.EDITORS, most_bytes=site_page.MOST_LOG_BYTES, most_files=1,
    ),
    Page(
        path="/accounts", answers={"GET": account_pages.open_page, "POST": account_pages.change},
        roles=frozenset({"administrator"}), menu="Accounts",
    ),
    Page(
        path="/trail", answers={"GET": account_pages.trail, "POST": account_pages.search_trail},
        roles=frozenset({"administrator", "supervisor"}),
        menu="Trail",
    ),
    Page(path="/password", answers={"GET": door_pages.open_password, "POST": door_pages.change_password},
         roles=SIGNED_IN),
    Page(path="/sign-out", answers={"POST": door_pages.sign_out}, roles=SIGNED_IN),
    Page(path="/sign-in", answers={"GET": door_pages.open_sign_in, "POST": door_pages.sign_in}, roles=EVERYONE),
    Page(path="/set-up", answers={"GET": door_pages.open_set_up, "POST": door_pages.set_up}, roles=EVERYONE),
    Page(path="/api/plan", answers={"POST": api.plan}, roles=SIGNED_IN, is_json=True),
    Page(path="/api/tests", answers={"GET": api.find}, roles=SIGNED_IN, is_json=True),
    Page(path="/api/openapi.json", answers={"GET": api.describe}, roles=EVERYONE, is_json=True),
    Page(path="/look", answers={"POST": door_pages.look}, roles=EVERYONE),
)  # fmt: skip
OPENED = frozenset(page.path for page in PAGES if "GET" in page.answers and not page.is_json)
"""Where a form may send a browser back to, and nowhere else."""


def opens(visitor: Visitor | None, path: str) -> bool:
    """Whether the page at this path opens to this visitor: what leads there is shown to nobody else."""
    page = next(page for page in PAGES if page.path == path)
    if page.roles is None:
        return True
    return visitor is not None and not visitor.account.must_change and visitor.account.role in page.roles


def menu_of(visitor: Visitor | None) -> tuple[tuple[str, str], ...]:
    """The words and the paths of the menu for this visitor."""
    return tuple((page.menu, page.path) for page in PAGES if page.menu and opens(visitor, page.path))


def words_of(role: str) -> tuple[str, ...]:
    """The words of the menu that a role has."""
    return tuple(page.menu for page in PAGES if page.menu and page.roles is not None and role in page.roles)

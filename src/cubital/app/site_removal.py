"""An entry taken out of a site's own file: what names it and stops that, what goes with it."""

from __future__ import annotations

from collections.abc import Iterable

import msgspec

from cubital.app.site_editing import SiteVersions
from cubital.app.site_edition import Edition
from cubital.app.site_form import Form
from cubital.app.site_panel_form import own_panel, panels_with
from cubital.app.site_test_form import FILE as TESTS
from cubital.app.site_test_form import shipped_test
from cubital.errors import SiteError
from cubital.model import Panel
from cubital.model.site_version import SiteVersion


class Removal(msgspec.Struct, frozen=True, kw_only=True):
    """The panels that name a test which would be gone: `holding` are the site's own, `going` the shipped ones."""

    holding: tuple[Panel, ...] = ()
    going: tuple[Panel, ...] = ()


def look_at_removal(form: Form, edition: Edition, key: str) -> Removal:
    """What taking this entry out of the site's own file meets; nothing where a shipped entry stands in its place."""
    if form.file != TESTS or shipped_test(edition, key) is not None:
        return Removal()
    naming = panels_with(edition, key)
    return Removal(
        holding=tuple(one for one in naming if own_panel(edition, one.key) is not None),
        going=tuple(one for one in naming if own_panel(edition, one.key) is None),
    )


def take_out(
    form: Form, versions: SiteVersions, account: str, base: int, key: str, note: str, *, with_panels: bool
) -> SiteVersion:
    """Save the site without this entry of its own file.

    Raises `SiteError` where a panel of the site names it, or, unless `with_panels`, where a shipped panel would go
    with it; else as `SiteVersions.save` does.
    """
    found = look_at_removal(form, versions.newest(), key)
    if found.holding:
        raise SiteError(
            f"found it in the panels {_named(found.holding)}; expected a test that no panel of the site names; take it "
            "out of them first",
            where=key,
        )
    if found.going and not with_panels:
        raise SiteError(
            f"found it in the shipped panels {_named(found.going)}, which would go with it; expected that this is "
            "meant; say so beside the button, or give the panels other tests first",
            where=key,
        )
    return versions.save(account, base, {form.file: {key: None}}, note)


def _named(panels: Iterable[Panel]) -> str:
    return ", ".join(panel.name for panel in panels)

"""Which version of the site a draw in hand was planned on, and what to say once another one is in force.

A draw is never planned again by itself and never stopped for this: whoever holds the needle decides.
"""

from __future__ import annotations

from cubital.app.site_editing import SiteVersions
from cubital.app.site_edition import Edition
from cubital.app.wiring import say_local
from cubital.errors import SiteError
from cubital.model import Site
from cubital.model.taking import Taking

FOLDER = 0
"""The number of a site with nothing saved: its folder as it was found."""


def planned_on(taking: Taking) -> str:
    """The version of the site that this draw was planned on, in words.

    An earlier edition of this program kept none with a draw: then that is said.
    """
    if taking.site_version is None:
        return "a version of the site that was not kept"
    return "the site's folder, no version kept" if taking.site_version == FOLDER else _named(taking.site_version)


def moved_on(taking: Taking, newest: Edition | None) -> str:
    """The caution that another version of the site is in force than this draw was planned on; empty where none is.

    `newest` is what is in force, None where the server keeps no versions.
    """
    version = None if newest is None else newest.version
    number = FOLDER if version is None else version.number
    if taking.site_version == number or (taking.site_version is None and version is None):
        return ""
    if version is None or newest is None:
        in_force = "the site's folder is in force, no version kept"
    else:
        back = "" if version.restores is None else f", which brings back version {version.restores},"
        in_force = f"{_named(number)}{back} is in force since {say_local(version.at, newest.site)[:16]}"
    return f"planned on {planned_on(taking)}; {in_force}; plan again, or check each tube before you fill it"


def site_of_draw(taking: Taking, sites: SiteVersions | None, newest: Site) -> Site:
    """The site as it was when this draw was planned, for its words and labels; the newest where that is not there."""
    number = taking.site_version
    if number is None or sites is None:
        return newest
    try:
        edition = sites.newest()
        return newest if number == edition.number else sites.at(number).site
    except SiteError:
        return newest


def _named(number: int) -> str:
    return f"version {number} of the site"

"""Where the invented demo site stands in this installation."""

from __future__ import annotations

from pathlib import Path

from cubital.errors import SiteError
from cubital.facts.reading import DATA


def demo_folder() -> Path:
    """The folder of the demo site, an invented small hospital.

    >>> sorted(path.name for path in demo_folder().iterdir())
    ['centrifuges.toml', 'site.toml', 'tests.toml', 'tubes.toml']
    """
    folder = DATA / "demo"
    if not folder.is_dir():
        raise SiteError("found no demo site; expected one; install the package again", where="demo")
    return folder

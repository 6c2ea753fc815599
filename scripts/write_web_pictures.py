"""Writes docs/pictures/web/: every page as a browser shows it, at the invented demo site with invented accounts.

Run it after changing a page: `.venv/bin/python scripts/write_web_pictures.py [scene …]`; with `--look DIR` every width
in both themes is written there instead, to be looked at. A page adds its own row to `SCENES` in web_scenes.py: a name,
who is signed in, where it is, and what is done before the picture is taken.
"""

from __future__ import annotations

import argparse
import contextlib
import datetime
import io
import json
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from random import Random

from PIL import Image
from playwright.sync_api import Browser, sync_playwright
from web_scenes import FIRST_WORDS, SCENES, Scene

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from tests.web.chrome import SIZES, WAIT_MS, WORDS, Watched, serving, start  # noqa: E402

from cubital.app.order_log import read_log  # noqa: E402
from cubital.app.site_editing import SiteVersions  # noqa: E402
from cubital.app.wiring import (  # noqa: E402
    open_accounts,
    open_record,
    open_site,
    open_site_versions,
    open_takings,
    upgrade_store,
)
from cubital.model.account import ROLES  # noqa: E402
from cubital.web.application import make_application  # noqa: E402
from cubital.web.desk import Desk, Settings  # noqa: E402

PICTURES = ROOT / "docs" / "pictures" / "web"
NOW = datetime.datetime(2026, 11, 25, 9, 30, tzinfo=datetime.UTC)
COLOURS, MOST_BYTES = 224, 150_000


@contextlib.contextmanager
def demo_server() -> Iterator[str]:
    """The address of a server of the demo site with an account of every role, named as its role."""
    with tempfile.TemporaryDirectory() as folder:
        path = str(Path(folder) / "record.db")
        upgrade_store(path)
        accounts, record = open_accounts(path), open_record(path)
        takings = open_takings(path, record=record)
        accounts.set_up(accounts.setup_code, "administrator", WORDS)
        first = accounts.visitor(accounts.sign_in("administrator", WORDS, address=""))
        assert first is not None
        for role in ROLES:
            if role != "administrator":
                accounts.add(first, role, role, FIRST_WORDS)
                own = accounts.visitor(accounts.sign_in(role, FIRST_WORDS, address=""))
                assert own is not None
                accounts.change_password(own, FIRST_WORDS, WORDS)
        sites = open_site_versions(path, demo=True, now=lambda: NOW)
        fill_site(sites)
        desk = Desk(
            open_site(demo=True), accounts, record=record, takings=takings, today=NOW.date, now=lambda: NOW,
            settings=Settings(is_demo=True), sites=sites,
        )  # fmt: skip
        with serving(make_application(desk)) as address:
            yield address
        takings.close()
        sites.close()
        record.close()
        accounts.close()


def fill_site(sites: SiteVersions) -> None:
    """A saved version and a month of orders: invented, the same each time."""
    random = Random(31)
    words = ["K", "Na", "CBC", "PT", "aPTT", "CRP", "glucose", "lactate", "TSH", "ferritin", "BUN", "creatinine"]
    lines = [json.dumps({"tests": sorted(random.sample(words, random.randint(1, 6)))}) for _ in range(800)]
    log = read_log(io.BytesIO("\n".join(lines).encode()), sites.newest().site, where="invented", today=NOW.date())
    sites.keep_orders(log.orders)
    edta = sites.newest().tables["tubes.toml"]["edta"]
    sites.save("supervisor", 0, {"tubes.toml": {"edta": {**edta, "inversions": 9}}}, "nine turns, after the audit")


def take(browser: Browser, address: str, scene: Scene, *, size: tuple[int, int], theme: str) -> bytes:
    """One picture as a small PNG."""
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]}, color_scheme="dark" if theme == "dark" else "light"
    )
    context.set_default_timeout(WAIT_MS)
    watched = Watched(context.new_page(), address)
    if scene.role is not None:
        watched.sign_in(scene.role)
    if not watched.page.url.endswith(scene.path):
        watched.open(scene.path)
    scene.steps(watched.page)
    watched.page.wait_for_load_state("networkidle")
    picture = Image.open(io.BytesIO(watched.page.screenshot()))
    context.close()
    small = io.BytesIO()
    picture.convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE).save(small, "PNG", optimize=True)
    return small.getvalue()


def main() -> int:
    """Write the pictures that were asked for, or all; status 1 where one is too large to keep."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("scenes", nargs="*", metavar="scene", help="the first letters of names; all without one")
    parser.add_argument("--look", type=Path, metavar="DIR", help="write every width in both themes there")
    chosen = parser.parse_args()
    folder: Path = chosen.look or PICTURES
    folder.mkdir(parents=True, exist_ok=True)
    themes = ("light", "dark")
    wanted = [scene for scene in SCENES if not chosen.scenes or scene.name.startswith(tuple(chosen.scenes))]
    status = 0
    with demo_server() as address, sync_playwright() as playwright:
        browser = start(playwright)
        for scene in wanted:
            for size, theme in ((size, theme) for size in SIZES for theme in themes):
                # The docs keep three widths in light and the widest in dark.
                is_single_one = size == SIZES[-1] and theme == "light"
                is_kept = is_single_one if scene.is_single else theme == "light" or size == SIZES[-1]
                if chosen.look is None and not is_kept:
                    continue
                data = take(browser, address, scene, size=size, theme=theme)
                name = f"{scene.name}-{size[0]}{'-dark' if theme == 'dark' else ''}.png"
                (folder / name).write_bytes(data)
                print(f"{name}: {len(data):,} bytes")
                status |= len(data) > MOST_BYTES
        browser.close()
    return status


if __name__ == "__main__":
    sys.exit(main())

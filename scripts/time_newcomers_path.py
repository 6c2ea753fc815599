"""Plays the path of docs/tutorial/first-draw-on-screen.md in a real browser and says how long each part took.

`.venv/bin/python scripts/time_newcomers_path.py`: a new record, the server, the first account, a collector's one, an
order typed at a slow typist's speed, the draw on screen, its tubes filled, their labels as a PDF. Set-up of the program
itself, which `scripts/serve` does once, is not in it.
"""

from __future__ import annotations

import datetime
import re
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from tests.web.chrome import BENCH, WAIT_MS, start  # noqa: E402

COMMAND = str(Path(sys.executable).with_name("cubital"))
ORDER, PASSWORD, FIRST_PASSWORD = "PT\nK\nCBC", "seven quiet otters", "otters to change"
LETTER_MS = 200
AGE = 34
# Of the invented patient; the birth date fits the age on whatever day this is played.
BORN = f"{datetime.date.today() - datetime.timedelta(days=365 * AGE + 100)}"
REQUEST = (("Name", "Invented, Ottoline"), ("Number", "X-000123"), ("Birth date", BORN))
STATED = (("Name, as the patient says it", "Ottoline Invented"), ("Birth date as said, or number scanned", BORN))
TARGET_S = 120.0


def set_up(page: Page, address: str, code: str) -> None:
    """Make the first account; the code is pasted from the terminal."""
    page.goto(address)
    page.get_by_label("Code").fill(code)
    for label, words in (("Name", "ada"), ("Password", PASSWORD), ("The same again", PASSWORD)):
        page.get_by_label(label).press_sequentially(words, delay=LETTER_MS)
    page.get_by_role("button", name="Make the account").click()
    page.wait_for_url("**/draw")


def type_in(page: Page, fields: Iterable[tuple[str, str]], *, is_exact: bool = True) -> None:
    """Type these words into the fields of these labels, letter by letter."""
    for label, words in fields:
        page.get_by_label(label, exact=is_exact).press_sequentially(words, delay=LETTER_MS)


def add_collector(page: Page) -> None:
    """Make an account for whoever draws, and sign in with it."""
    page.get_by_role("link", name="Accounts").click()
    form = page.locator("form.stack")
    form.get_by_label("Name").press_sequentially("nell", delay=LETTER_MS)
    form.get_by_label("Role").select_option("collector")
    form.get_by_label("First password").press_sequentially(FIRST_PASSWORD, delay=LETTER_MS)
    form.get_by_role("button", name="Add").click()
    page.get_by_text("first password", exact=True).wait_for()
    page.get_by_role("button", name="Sign out").click()
    type_in(page, (("Name", "nell"), ("Password", FIRST_PASSWORD)))
    page.get_by_role("main").get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/password")
    for name, words in (("present", FIRST_PASSWORD), ("new", PASSWORD), ("again", PASSWORD)):
        page.locator(f"[name={name}]").press_sequentially(words, delay=LETTER_MS)
    page.get_by_role("main").get_by_role("button").click()
    page.wait_for_url("**/draw")


def draw(page: Page) -> None:
    """Type the order as a person does, until its three tubes stand on screen."""
    type_in(page, (("Tests", ORDER), ("Age", str(AGE)), ("Weight, kg", "62")))
    page.locator(".tray .place").nth(2).wait_for()
    page.locator(".gauge").wait_for()


def take(page: Page) -> None:
    """Take the draw in hand, identify the patient, fill every tube, and print the labels from the page."""
    page.get_by_role("button", name="Take this draw").click()
    type_in(page, REQUEST)
    type_in(page, STATED, is_exact=False)
    page.get_by_role("button", name="Check both").click()
    for number in (1, 2, 3):
        page.get_by_text(f"Tube {number} of 3").wait_for()
        page.get_by_role("button", name="Filled", exact=True).click()
        page.get_by_role("button", name="Next").click()
    button = page.get_by_role("button", name="Print all 3 labels")
    with page.context.expect_event("response", lambda answer: answer.url.endswith("/take/labels")) as printed:
        button.click()
    assert (printed.value.status, printed.value.headers["content-type"]) == (200, "application/pdf")


def main() -> int:
    """Play the path and print its times; status 1 where it takes longer than two minutes."""
    with tempfile.TemporaryDirectory() as folder, socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = str(free.getsockname()[1])
        free.close()
        db = str(Path(folder) / "cubital.db")
        begun = time.monotonic()
        subprocess.run([COMMAND, "db", "upgrade", "--db", db], check=True, capture_output=True)
        server = subprocess.Popen(
            [COMMAND, "serve", "--demo", "--db", db, "--port", port], stderr=subprocess.PIPE, text=True
        )
        try:
            assert server.stderr is not None
            said = ""
            while not (code := re.search(r"its code: (\S+)", said)):
                said += server.stderr.readline()
            with sync_playwright() as playwright:
                browser = start(playwright)
                page = browser.new_page(viewport={"width": BENCH[0], "height": BENCH[1]})
                page.set_default_timeout(WAIT_MS)
                _wait_for(port)
                told = {"server ready": time.monotonic()}
                set_up(page, f"http://127.0.0.1:{port}/", code[1])
                told["first account made"] = time.monotonic()
                add_collector(page)
                told["collector signed in"] = time.monotonic()
                draw(page)
                told["draw on screen"] = time.monotonic()
                take(page)
                told["labels printed"] = time.monotonic()
                browser.close()
        finally:
            server.terminate()
            server.wait()
    for what, at in told.items():
        print(f"{what:<20} {at - begun:5.1f} s")
    return int(told["labels printed"] - begun > TARGET_S)


def _wait_for(port: str) -> None:
    ends = time.monotonic() + WAIT_MS / 1000
    while time.monotonic() < ends:
        try:
            socket.create_connection(("127.0.0.1", int(port)), timeout=1).close()
        except OSError:
            time.sleep(0.05)
        else:
            return
    raise SystemExit("the server did not answer")


if __name__ == "__main__":
    sys.exit(main())

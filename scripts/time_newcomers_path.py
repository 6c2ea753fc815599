"""Plays the path of docs/tutorial/first-draw-on-screen.md in a real browser and says how long each part took.

`.venv/bin/python scripts/time_newcomers_path.py`: a new record, the server, the first account, an order typed at a slow
typist's speed, the draw on screen, a label as a PDF. Set-up of the program itself, which `scripts/serve` does once, is
not in it.
"""

from __future__ import annotations

import json
import re
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from tests.web.chrome import BENCH, WAIT_MS, start  # noqa: E402

COMMAND = str(Path(sys.executable).with_name("cubital"))
ORDER, PASSWORD = "PT\nK\nCBC", "seven quiet otters"
LETTER_MS = 200
WHO = {
    "name": "Invented, Ottoline", "number": "X-000123", "birth_date": "1992-01-05",
    "specimens": ["Q2600401", "Q2600402", "Q2600403"], "collected": "2026-11-25 09:40", "collector": "N7",
}  # fmt: skip
TARGET_S = 120.0


def set_up(page: Page, address: str, code: str) -> None:
    """Make the first account; the code is pasted from the terminal."""
    page.goto(address)
    page.get_by_label("Code").fill(code)
    for label, words in (("Name", "ada"), ("Password", PASSWORD), ("The same again", PASSWORD)):
        page.get_by_label(label).press_sequentially(words, delay=LETTER_MS)
    page.get_by_role("button", name="Make the account").click()
    page.wait_for_url("**/draw")


def draw(page: Page) -> None:
    """Type the order as a person does, until its three tubes stand on screen."""
    page.get_by_label("Tests").press_sequentially(ORDER, delay=LETTER_MS)
    page.get_by_label("Age", exact=True).press_sequentially("34", delay=LETTER_MS)
    page.get_by_label("Weight, kg").press_sequentially("62", delay=LETTER_MS)
    page.locator(".tray .place").nth(2).wait_for()
    page.locator(".gauge").wait_for()


def main() -> int:
    """Play the path and print its times; status 1 where it takes longer than two minutes."""
    with tempfile.TemporaryDirectory() as folder, socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = str(free.getsockname()[1])
        free.close()
        who, db = Path(folder) / "who.json", str(Path(folder) / "cubital.db")
        who.write_text(json.dumps(WHO), encoding="utf-8")
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
                draw(page)
                told["draw on screen"] = time.monotonic()
                browser.close()
            words = [COMMAND, "print", "labels", *ORDER.split(), "--demo", "--who", str(who)]
            words += ["--age", "34 a", "--on", "2026-11-25", "--to", f"{folder}/l.pdf"]
            subprocess.run(words, check=True, capture_output=True)
            told["label printed"] = time.monotonic()
            assert Path(f"{folder}/l.pdf").read_bytes().startswith(b"%PDF")
        finally:
            server.terminate()
            server.wait()
    for what, at in told.items():
        print(f"{what:<20} {at - begun:5.1f} s")
    return int(told["label printed"] - begun > TARGET_S)


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

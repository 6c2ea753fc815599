"""How quickly the pages answer: a draw planned again as one types, the first page's bytes, fifty stations at once.

The server is a process of its own, as `cubital serve` starts it; every time is a whole request over the loopback, from
the first byte sent to the last byte read, sessions and the trail in SQLite included. Tests and orders are invented.
"""

from __future__ import annotations

import http.client
import re
import socket
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from random import Random
from statistics import median, quantiles
from tempfile import TemporaryDirectory
from urllib.parse import urlencode

from bench.report import Line, show
from cubital.app.wiring import open_accounts, open_site, upgrade_store

COMMAND = Path(sys.executable).with_name("cubital")
TESTS, ORDERS, STATIONS, PAUSE_S, REST_S, START_S = 1000, 120, 50, 1.0, 7.0, 30.0
TARGET_MS, TARGET_BYTES = 50.0, 150_000
WORDS = "seven quiet otters"
_ONE, _TWO = ("alb", "ber", "cor", "dex", "fer", "gly", "hom", "lip", "mur", "thy"), ("ase", "in", "ol", "one", "ate")
_TUBES = (("serum", "serum-gel"), ("plasma", "heparin-gel"), ("whole-blood", "edta"), ("plasma", "citrate"))


def run(*, is_quick: bool) -> bool:
    """Measure and print; whether pages are quick and small enough and no station met an error."""
    random = Random(5)
    with TemporaryDirectory() as folder, _server(Path(folder)) as (port, secrets):
        names = [test.name for test in open_site(str(Path(folder) / "site")).tests.values()]
        lines = [*_replan(port, secrets[0], names, random, is_quick=is_quick), _first_page(port, secrets[0])]
        lines += stations([port], secrets, names, seconds=10.0 if is_quick else 60.0)
    return show(f"Pages: a directory of {len(names)} tests, one server process, whole requests", lines)


def write_site(folder: Path, tests: int = TESTS) -> None:
    """A site of so many tests: the shipped ones, and invented ones beside them."""
    shipped = open_site()
    folder.mkdir()
    (folder / "site.toml").write_text('name = "Bench Hospital (invented)"\n', encoding="utf-8")
    rows = ['include = "shipped"']
    for number in range(tests - len(shipped.tests)):
        matrix, tube = _TUBES[number % len(_TUBES)]
        word = _ONE[number % 10] + _ONE[number // 10 % 10] + _TWO[number // 100 % 5]
        rows.append(
            f'[invented-{number}]\nname = "{word} {number} (invented)"\nbench = "bench {number % 7}"\n'
            f'accepts = [{{matrix = "{matrix}", tubes = ["{tube}"], volume_ul = {100 + number % 5 * 80}}}]'
        )
    (folder / "tests.toml").write_text("\n\n".join(rows) + "\n", encoding="utf-8")


@contextmanager
def _server(folder: Path) -> Iterator[tuple[int, list[str]]]:
    """The port of a server of such a site, and the secret of a session for each station."""
    write_site(folder / "site")
    db = str(folder / "record.db")
    upgrade_store(db)
    accounts = open_accounts(db)
    accounts.set_up(accounts.setup_code, "station", WORDS)
    secrets = [accounts.sign_in("station", WORDS, address="") for _ in range(STATIONS)]
    accounts.close()
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    words = [str(COMMAND), "serve", "--site", str(folder / "site"), "--db", db, "--port", str(port)]
    with (folder / "log").open("w+", encoding="utf-8") as log, subprocess.Popen(words, stderr=log) as server:
        try:
            await_port(port)
            yield port, secrets
        finally:
            server.terminate()
            server.wait(START_S)
            log.seek(0)
            faults = [line for line in log if "ERROR" in line]
            if faults:
                print(f"the server wrote {len(faults)} errors: {faults[0].strip()}")


def await_port(port: int) -> None:
    ends = time.monotonic() + START_S
    while True:
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
        except OSError:
            if time.monotonic() > ends:
                raise
            time.sleep(0.05)
        else:
            return


class Station:
    """One signed-in browser with one connection that it keeps, as browsers do."""

    def __init__(self, port: int, secret: str) -> None:
        self._port = port
        self._secret = secret
        self._connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        self._connection.connect()
        assert self._connection.sock is not None
        # A browser sends a small request at once; without this the loopback would wait for an acknowledgement.
        self._connection.sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.token = ""

    def ask(self, method: str, path: str, fields: dict[str, str] | None = None) -> tuple[int, str, float]:
        """The status, the text, and the seconds that it took."""
        headers = {"Cookie": f"cubital={self._secret}", "Origin": f"http://127.0.0.1:{self._port}"}
        body = None
        if fields is not None:
            headers |= {"Content-Type": "application/x-www-form-urlencoded", "HX-Request": "true"}
            body = urlencode({**fields, "token": self.token})
        begun = time.perf_counter()
        self._connection.request(method, path, body, headers)
        answer = self._connection.getresponse()
        text = answer.read().decode()
        spent_s = time.perf_counter() - begun
        if found := re.search(r'name="token" value="([0-9a-f]{64})"', text):
            self.token = found[1]
        return answer.status, text, spent_s


def typed(names: list[str], random: Random) -> Iterator[dict[str, str]]:
    """What the form of one order holds whenever the server is asked: each name half typed, then whole."""
    lines: list[str] = []
    patient = {"access": random.choice(("straight-needle", "winged-set")), "age": "61", "weight_kg": "70"}
    for name in random.sample(names, random.randint(2, 14)):
        yield {**patient, "tests": "\n".join([*lines, name[: max(2, len(name) // 2)]])}
        lines.append(name)
        yield {**patient, "tests": "\n".join(lines)}


def _replan(port: int, secret: str, names: list[str], random: Random, *, is_quick: bool) -> list[Line]:
    station = Station(port, secret)
    station.ask("GET", "/draw")
    bare_s = [station.ask("GET", "/static/mark.svg")[2] for _ in range(200)]
    spent_s = []
    for _ in range(ORDERS // 10 if is_quick else ORDERS):
        for fields in typed(names, random):
            status, _, took_s = station.ask("POST", "/draw", fields)
            assert status == 200, status
            spent_s.append(took_s)
    nearly_all_ms = 1000 * quantiles(spent_s, n=20)[-1]
    bare_ms = 1000 * median(bare_s)
    return [
        Line("a static file, median", f"{bare_ms:.1f} ms"),
        Line(f"planned again, median of {len(spent_s):,}", f"{1000 * median(spent_s):.1f} ms"),
        Line(
            "planned again, 95 of 100 within", f"{nearly_all_ms:.1f} ms, {nearly_all_ms / bare_ms:.0f} static files",
            f"{TARGET_MS:g} ms", nearly_all_ms <= TARGET_MS,
        ),
    ]  # fmt: skip


def _first_page(port: int, secret: str) -> Line:
    """The Draw page and every file that it loads, as they are sent."""
    station = Station(port, secret)
    page = station.ask("GET", "/draw")[1]
    paths = set(re.findall(r'(?:href|src)="(/static/[^"]+)"', page))
    styles = "".join(station.ask("GET", path)[1] for path in paths if ".css" in path)
    whole = len(page.encode())
    fonts = {f"/static/{name}" for name in re.findall(r'url\("([^"]+)"\)', styles)}
    for path in sorted(paths | fonts):
        connection = http.client.HTTPConnection("127.0.0.1", port)
        connection.request("GET", path)
        whole += len(connection.getresponse().read())
        connection.close()
    return Line("first page in all", f"{whole:,} bytes", f"{TARGET_BYTES:,}", whole < TARGET_BYTES)


def stations(
    ports: list[int], secrets: list[str], names: list[str], *, seconds: float, many: int = STATIONS
) -> list[Line]:
    """So many stations, each asking about once a second, and resting between two orders; each of one of the ports."""
    faults: Counter[str] = Counter()
    spent_s: list[float] = []
    ends = time.monotonic() + seconds

    def work(number: int) -> None:
        random = Random(number)
        time.sleep(random.random() * PAUSE_S)
        try:
            station = Station(ports[number % len(ports)], secrets[number % len(secrets)])
            station.ask("GET", "/draw")
            while time.monotonic() < ends:
                for fields in typed(names, random):
                    status, _, took_s = station.ask("POST", "/draw", fields)
                    spent_s.append(took_s)
                    if status != 200:
                        faults[f"status {status}"] += 1
                    time.sleep(random.uniform(0.5, 1.5) * PAUSE_S)
                    if time.monotonic() > ends:
                        break
                time.sleep(REST_S)
        except (OSError, http.client.HTTPException) as error:
            faults[type(error).__name__] += 1

    threads = [threading.Thread(target=work, args=(number,)) for number in range(many)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    met = f"{len(spent_s):,} answers, {sum(faults.values())} errors {dict(faults) or ''}".rstrip()
    return [
        Line(f"{many} stations for {seconds:.0f} s", met, "no error", not faults),
        Line("their answers, 95 of 100 within", f"{1000 * quantiles(spent_s, n=20)[-1]:.0f} ms"),
    ]

"""What bringing a table in costs at worst: seconds of the core and memory, each file in a process of its own."""

from __future__ import annotations

import resource
import subprocess
import sys
from pathlib import Path
from time import process_time

from bench.report import Line, show

MOST_S, MOST_MB = 3.0, 100


def run(*, is_quick: bool = False) -> bool:
    """Measure every heavy file; whether each is answered within the time and the memory."""
    from tests.attack.heavy_files import HEAVY

    lines = []
    for number, name in enumerate(HEAVY):
        if is_quick and number % 4:
            continue
        command = [sys.executable, "-m", "bench.uploads", name]
        asked = subprocess.run(command, capture_output=True, text=True, check=True, cwd=Path(__file__).parents[1])
        spent_s, peak_mb, said = asked.stdout.strip().split("\t")
        met = float(spent_s) <= MOST_S and float(peak_mb) <= MOST_MB
        lines.append(Line(name, f"{spent_s} s, {peak_mb} MB: {said}", f"at most {MOST_S:g} s, {MOST_MB} MB", met))
    return show("Tables brought in, at worst (seconds of the core, memory beyond the server's own)", lines)


def main(name: str) -> None:
    """Bring one file in, and print what it cost and what was answered."""
    from tests.attack.heavy_files import HEAVY

    from cubital.app.site_exchange import import_site
    from cubital.app.wiring import site_files
    from cubital.errors import CubitalError

    folder, files = site_files(demo=True)
    small = b"kind,additive,draw_ml\nhouse,k2-edta,4\n"
    import_site(small, onto=files, name=folder, where="small")
    data = HEAVY[name]()
    # What making the file took at its peak is not of the reader: the pages in use now are what it begins with.
    in_use_kb = int(Path("/proc/self/statm").read_text().split()[1]) * resource.getpagesize() // 1024
    Path("/proc/self/clear_refs").write_text("5")
    before_s = process_time()
    try:
        found = import_site(data, onto=files, name=folder, where="heavy")
        said = f"{'usable' if found.is_usable else 'refused'}, {len(found.findings)} findings"
    except CubitalError as error:
        said = str(error)[:90]
    status = Path("/proc/self/status").read_text()
    peak_kb = int(status.partition("VmHWM:")[2].split()[0])
    print(f"{process_time() - before_s:.1f}\t{(peak_kb - in_use_kb) / 1024:.0f}\t{said} ({len(data):,} bytes)")


if __name__ == "__main__":
    main(sys.argv[1])

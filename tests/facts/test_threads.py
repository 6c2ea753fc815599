"""Facts are read by several stations at once, first of all as the server has just started."""

from __future__ import annotations

import subprocess
import sys

PROGRAM = """
import sys, threading
sys.setswitchinterval(1e-6)
from cubital import facts
start = threading.Barrier(12)
def read():
    start.wait()
    facts.interference()
threads = [threading.Thread(target=read) for _ in range(12)]
for thread in threads: thread.start()
for thread in threads: thread.join()
"""


def test_facts_that_many_threads_read_first_at_once_do_not_end_the_process() -> None:
    # Before shaping took turns, about every second such process ended with a segmentation fault in msgspec 0.22.0.
    for _ in range(6):
        found = subprocess.run([sys.executable, "-c", PROGRAM], capture_output=True, timeout=60, check=False)
        assert found.returncode == 0, found.stderr[-300:]

"""A PostgreSQL of one's own: a new cluster in a short folder, reached through a socket, removed after the tests."""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import tempfile
from pathlib import Path

USER = "cubital"
PREFIX, OWNER = "cub-", "owner"


def programs() -> Path:
    """The folder of PostgreSQL's own programs; `scripts/test` has seen that there is one."""
    found = shutil.which("initdb")
    folders = [Path(found).resolve().parent] if found else sorted(Path("/usr/lib/postgresql").glob("*/bin"))
    if not folders:
        raise RuntimeError("found no initdb; the contract tests need PostgreSQL; run: apt-get install postgresql")
    return folders[-1]


def remove_orphans() -> None:
    """Stop and remove the clusters of tests that were killed before they could."""
    for owner in Path("/tmp").glob(f"{PREFIX}*/{OWNER}"):
        try:
            os.kill(int(owner.read_text(encoding="ascii")), 0)
        except ProcessLookupError:
            orphan = Cluster.__new__(Cluster)
            orphan.folder = owner.parent
            with contextlib.suppress(RuntimeError):
                orphan.stop()
            shutil.rmtree(orphan.folder, ignore_errors=True)
        except (OSError, ValueError):
            continue  # another user's, or gone meanwhile


class Cluster:
    """One cluster; without fsync, which matters to a loss of power and to nothing that is tested here.

    `is_synced` has it on, to measure with; `locales` is a folder of locales, `speaks` the one of messages.
    """

    def __init__(
        self, *, segment_mb: int = 16, most_file_kb: int | None = None, is_synced: bool = False,
        locales: Path | None = None, speaks: str = "C.UTF-8",
    ) -> None:  # fmt: skip
        # A socket's path has room for about 100 bytes, so the folder stands high up.
        self.folder = Path(tempfile.mkdtemp(prefix=PREFIX, dir="/tmp"))
        (self.folder / OWNER).write_text(str(os.getpid()), encoding="ascii")
        self._sync = "" if is_synced else "-F"
        self._limit = f"ulimit -f {most_file_kb}; " if most_file_kb else ""
        if locales is not None:
            self._limit += f"export LOCPATH={locales}; "
        self._speaks = speaks
        if os.getuid() == 0:
            shutil.chown(self.folder, "postgres")
        self._run(
            f"initdb -A trust -U {USER} --no-sync --locale=C.UTF-8 --wal-segsize={segment_mb} "
            f"-D {self.folder}/data >{self.folder}/initdb.log"
        )
        self.start()

    def start(self) -> None:
        """Start the server, and wait until it answers."""
        options = f"-c listen_addresses='' -k {self.folder} {self._sync} -c max_connections=60"
        options += f" -c lc_messages={self._speaks}"
        self._run(f'{self._limit}pg_ctl -w -s -l {self.folder}/log -D {self.folder}/data -o "{options}" start')

    def stop(self) -> None:
        """Stop the server at once, as a fault would: no shutdown, recovery at the next start."""
        self._run(f"pg_ctl -w -s -m immediate -D {self.folder}/data stop")

    def remove(self) -> None:
        """Stop the server and remove what it kept."""
        self.stop()
        shutil.rmtree(self.folder)

    def address(self, database: str) -> str:
        """The URL of this database."""
        return f"postgresql://{USER}@/{database}?host={self.folder}"

    def ask(self, statement: str, *, database: str = "postgres") -> str:
        """What one statement answers."""
        return self._run(f'psql -X -q -A -t -h {self.folder} -U {USER} -d {database} -c "{statement}"')

    def _run(self, command: str) -> str:
        shell = ["bash", "-c", f"export PATH={programs()}:$PATH; {command}"]
        if os.getuid() == 0:
            shell = ["runuser", "-u", "postgres", "--", *shell]
        done = subprocess.run(shell, cwd="/tmp", capture_output=True, text=True, check=False)
        if done.returncode:
            raise RuntimeError(f"{command}: {done.stdout}{done.stderr}")
        return done.stdout.strip()

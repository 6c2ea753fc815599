"""Whether the saved versions of a site are what was saved: every file by its digest, every number in its turn."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator

from sqlalchemy import Connection, select

from cubital.store.tables import site_file, site_version


def find_site_faults(connection: Connection) -> Iterator[str]:
    """Which saved versions of a site are not what was saved; none as a rule."""
    sound = set()
    for row in connection.execute(select(site_file)):
        if hashlib.sha256(row.body.encode()).hexdigest() == row.digest:
            sound.add(row.digest)
        else:
            yield f"site file {row.digest[:12]}: found another text than was saved; restore a backup"
    last: dict[str, int] = {}
    query = select(site_version).order_by(site_version.c.site, site_version.c.number)
    for row in connection.execute(query):
        where = f"version {row.number} of the site"
        if row.number > (due := last.get(row.site, row.number - 1) + 1):
            yield f"{where}: found it after version {due - 1}, expected version {due}; versions are missing"
        last[row.site] = row.number
        for name, digest in json.loads(row.files).items():
            if digest not in sound:
                yield f"{where}: found no {name} as it was saved; restore a backup"

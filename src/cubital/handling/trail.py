"""Whether the trail of who did and saw what is what was written: its lines are chained as those of the record.

The hash of a line is the SHA-256, in hexadecimal, of three lines of UTF-8: the hash of the line before it (64 zeros
before the first), `sequence`, and a JSON list of `at`, `account`, `role`, `did` and `about` without spaces.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator

from cubital.model.record import Head, TrailLink


def hash_line(previous: str, sequence: int, at: str, account: str, role: str, did: str, about: str) -> str:
    """The hash of a line of the trail that follows a line of the hash `previous`."""
    words = json.dumps([at, account, role, did, about], ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(f"{previous}\n{sequence}\n{words}".encode("utf-8", "surrogatepass")).hexdigest()


def walk_trail(links: Iterable[TrailLink], *, after: Head) -> Iterator[tuple[Head, str | None]]:
    """The end of the trail after each line, and what is wrong with that line; it ends at the first fault."""
    last = after
    for link in links:
        if link.sequence != last.sequence + 1:
            yield last, f"found line {link.sequence}, expected line {last.sequence + 1}; lines are missing"
            return
        sealed = hash_line(last.hash, link.sequence, link.at, link.account, link.role, link.did, link.about)
        if link.hash != sealed:
            yield last, f"found the hash {link.hash[:64]}, expected {sealed} of what it says and of the line before it"
            return
        last = Head(sequence=link.sequence, hash=link.hash)
        yield last, None

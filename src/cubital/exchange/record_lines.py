"""A record as JSON Lines, which restores into either kind of database.

The first line says what follows: `{"format": "cubital.record/1", "entries": …, "head": …}`, with the
hash of the last entry. Each line after it is one entry, its body as text, byte for byte as it was
hashed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import BinaryIO

import msgspec

from cubital.errors import BrokenChain, ExchangeError
from cubital.model.record import Head, Link

FORMAT = "cubital.record/1"
_MOST_BYTES = 10_000_000


class _Heading(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    format: str
    entries: int
    head: str


_HEADING = msgspec.json.Decoder(_Heading)
_LINK = msgspec.json.Decoder(Link)


def write_lines(head: Head, links: Iterable[Link]) -> Iterator[bytes]:
    """The lines of the record that ends with this head."""
    heading = _Heading(format=FORMAT, entries=head.sequence, head=head.hash)
    yield msgspec.json.encode(heading) + b"\n"
    for link in links:
        yield msgspec.json.encode(link) + b"\n"


def is_lines(start: bytes) -> bool:
    """Whether a file that begins so is a record in lines."""
    return start.startswith(b'{"format":"cubital.record/')


def read_heading(stream: BinaryIO, *, where: str) -> Head:
    """The head of the record in these lines, from the first of them.

    Raises `ExchangeError` where it is no record of this format.
    """
    try:
        heading = _HEADING.decode(stream.readline(_MOST_BYTES))
    except (msgspec.DecodeError, ValueError):
        heading = None
    if heading is None or heading.format != FORMAT:
        found = "no heading of a record" if heading is None else f"the format {heading.format!r}"
        raise ExchangeError(f"found {found}; expected the format {FORMAT}", where=f"{where} line 1")
    return Head(sequence=heading.entries, hash=heading.head)


def read_links(stream: BinaryIO, *, where: str) -> Iterator[Link]:
    """The entries after the heading, one a line; raises `BrokenChain` at a line that is none."""
    number = 1
    while line := stream.readline(_MOST_BYTES):
        number += 1
        try:
            yield _LINK.decode(line)
        except (msgspec.DecodeError, ValueError) as error:
            said = str(error).split(" - at ")[0]
            raise BrokenChain(
                f"found no entry ({said}); expected entry {number - 1}", where=f"{where} line {number}",
                sequence=number - 1,
            ) from None  # fmt: skip

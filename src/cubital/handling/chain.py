"""Whether a record is what was written: each entry is sealed with the hash of the one before it.

The hash of an entry is the SHA-256 (FIPS 180-4), in hexadecimal, of six lines of UTF-8 text, each but
the last ended by a line feed: the hash of the entry before it (64 zeros before the first), `sequence`,
`batch`, `recorded_at`, `behind_us` and `body`. The body is JSON without a line feed, kept and hashed
byte for byte: it is never written anew from what was read, so that a later edition of this program,
which may know more fields, still finds the same hash.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from typing import Any

import msgspec

from cubital.errors import BrokenChain
from cubital.model.record import AnyContent, ClockTrusted, Entry, Head, Link
from cubital.model.specimen import AnyEvent, Specimen

NO_HASH = "0" * 64
EMPTY = Head(sequence=0, hash=NO_HASH)
_MOMENT = "%Y-%m-%dT%H:%M:%S.%fZ"


def _plain(value: object) -> object:
    if isinstance(value, Fraction):
        return f"{value.numerator}/{value.denominator}"
    raise NotImplementedError(f"a {type(value).__name__} has no place in a record")


def _exact(kind: type, value: Any) -> object:
    if kind is Fraction and isinstance(value, str):
        try:
            return Fraction(value)
        except ZeroDivisionError:
            raise ValueError(f"found {value!r}, expected a fraction") from None
    raise NotImplementedError(f"a {kind.__name__} has no place in a record")


_ENCODER = msgspec.json.Encoder(enc_hook=_plain, order="deterministic")
_CONTENT: msgspec.json.Decoder[AnyContent] = msgspec.json.Decoder(AnyContent, dec_hook=_exact)
_SPECIMEN: msgspec.json.Decoder[Specimen] = msgspec.json.Decoder(Specimen, dec_hook=_exact)


def body_of(content: AnyContent | Specimen) -> str:
    """The JSON of this event, or of this state of a specimen, on one line and the same each time."""
    return _ENCODER.encode(content).decode()


def content_of(body: str) -> AnyContent:
    """The event that this body says; raises `BrokenChain` where it says none."""
    try:
        return _CONTENT.decode(body)
    except (msgspec.DecodeError, ValueError) as error:
        raise BrokenChain(f"found a body that is no event ({error}); expected JSON of one", where="record") from None


def specimen_of(body: str) -> Specimen:
    """The state of a specimen that this body says; raises `BrokenChain` where it says none."""
    try:
        return _SPECIMEN.decode(body)
    except (msgspec.DecodeError, ValueError) as error:
        raise BrokenChain(
            f"found a state that is none ({error}); expected JSON of one; run: cubital db rebuild", where="record"
        ) from None


def say_moment(moment: datetime) -> str:
    """The moment as the record writes it, in UTC with microseconds, so that text sorts as time does.

    >>> say_moment(datetime(2026, 11, 25, 7, 5, tzinfo=UTC))
    '2026-11-25T07:05:00.000000Z'
    """
    return moment.astimezone(UTC).strftime(_MOMENT)


def read_moment(text: str) -> datetime:
    """The moment that the record wrote so."""
    return datetime.fromisoformat(text)


def seal(previous: Head, content: AnyContent, *, batch: int, version: int | None, now: datetime) -> Link:
    """The next link of the chain whose head is `previous`, for what happened, written down `now`.

    Where the clock stands before the head, the link takes the moment of the head and says in
    `behind_us` how far the clock was behind; how far is let pass is for the caller to say. Time
    goes back in a record only where a person vouched for the clock.
    """
    last = previous.recorded_at
    moment = now if last is None or isinstance(content, ClockTrusted) else max(now, last)
    sequence = previous.sequence + 1
    recorded_at, behind_us, body = say_moment(moment), (moment - now) // timedelta(microseconds=1), body_of(content)
    return Link(
        sequence=sequence,
        batch=batch,
        recorded_at=recorded_at,
        behind_us=behind_us,
        key=content.key,
        specimen=getattr(content, "specimen", None),
        version=version,
        body=body,
        hash=_hash(previous.hash, sequence, batch, recorded_at, behind_us, body),
    )


def head_of(link: Link) -> Head:
    """The head of a record that ends with this link."""
    return Head(sequence=link.sequence, hash=link.hash, recorded_at=read_moment(link.recorded_at))


def entry_of(link: Link) -> Entry:
    """What this link says; raises `BrokenChain` where its body is no event."""
    return Entry(
        sequence=link.sequence,
        batch=link.batch,
        recorded_at=read_moment(link.recorded_at),
        behind_us=link.behind_us,
        version=link.version,
        content=content_of(link.body),
        hash=link.hash,
    )


def event_of(link: Link) -> AnyEvent:
    """The event of a specimen that this link holds; raises `BrokenChain` where it holds none."""
    content = content_of(link.body)
    if isinstance(content, ClockTrusted):
        raise BrokenChain(
            "found a word on the clock, expected an event of a specimen",
            where=f"record entry {link.sequence}",
            sequence=link.sequence,
        )
    return content


def walk(links: Iterable[Link], *, after: Head = EMPTY) -> Iterator[Link]:
    """Each link of the chain after a head that is known, checked against the one before it.

    Raises `BrokenChain` at the first that does not fit: one is missing or doubled, what it holds
    is not what was sealed, or its columns say something else than its body. A chain cut short at
    its end fits: only a head noted elsewhere tells, see `meets`.
    """
    previous = after
    for link in links:
        if fault := _fault(previous, link):
            raise BrokenChain(fault, where=f"record entry {previous.sequence + 1}", sequence=previous.sequence + 1)
        yield link
        previous = Head(sequence=link.sequence, hash=link.hash)


def meets(link: Link, head: Head) -> None:
    """Raise `BrokenChain` where this link belies a head that was noted elsewhere."""
    if link.sequence == head.sequence and link.hash != head.hash:
        raise BrokenChain(
            f"found the hash {link.hash}, expected {head.hash} as noted; all or some before it was written anew",
            where=f"record entry {link.sequence}",
            sequence=link.sequence,
        )


def _fault(previous: Head, link: Link) -> str | None:
    if link.sequence != previous.sequence + 1:
        return f"found entry {link.sequence}, expected entry {previous.sequence + 1}; entries are missing"
    sealed = _hash(previous.hash, link.sequence, link.batch, link.recorded_at, link.behind_us, link.body)
    if link.hash != sealed:
        return f"found the hash {link.hash}, expected {sealed} of what it holds and of the entry before it"
    content = content_of(link.body)
    said = (content.key, getattr(content, "specimen", None))
    if (link.key, link.specimen) != said:
        return f"found the columns {(link.key, link.specimen)}, expected {said} as in the body"
    return None


def _hash(previous: str, sequence: int, batch: int, recorded_at: str, behind_us: int, body: str) -> str:
    lines = f"{previous}\n{sequence}\n{batch}\n{recorded_at}\n{behind_us}\n{body}"
    return hashlib.sha256(lines.encode()).hexdigest()

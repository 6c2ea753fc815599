"""Every error that `cubital` raises on purpose.

    CubitalError
    ├── FactsError        a shipped fact is malformed or has no source
    ├── UnitError         a quantity that cannot be read
    ├── SiteError         a site folder that cannot be used; carries every finding
    │   ├── StaleSite     someone else saved the site first; says who and when
    │   └── OtherDraft    what was brought in is not what was looked over
    ├── OrderError        an order that cannot be planned as written
    │   ├── UnknownTest   nobody defined this test; carries near misses
    │   ├── AmbiguousTest the name stands for several tests; carries them
    │   ├── NotBloodTest  a request for something that is not a blood test
    │   └── UnsettledWords  words of an order whose plan is to be taken do not say which test is meant
    ├── PlanError         a sound order that this site cannot plan
    │   ├── NoTube        no stocked, unexpired tube serves this test
    │   └── UnplacedKind  the order-of-draw policy is silent on a tube kind
    ├── RecordError       the record of specimens refuses
    │   ├── ImpossibleEvent  an event that cannot follow what has happened to a specimen
    │   ├── LostRace      another station changed the specimen first; says who and when
    │   ├── KeyReused     the key of an event stands for another one
    │   ├── ClockSetBack  the clock stands before what is recorded
    │   ├── BrokenChain   the record is not what was written; says where
    │   ├── UnreadyRecord no record there, or one of another edition
    │   └── RecordUnavailable  the database cannot be reached, read or written
    ├── LocalTimeError    a local time that is no instant, or two
    ├── PaperError        what cannot be printed so that it can be read; names the field
    ├── MissingLibrary    a part of cubital that is not installed
    ├── ReceiptError      an exception that may not be made, or a specimen that cannot be judged
    ├── AccountError      an account that cannot be made or changed so
    │   └── SignInRefused no such name and password, or too many tries; never says which
    ├── TakingError       a tap at the chair that cannot be taken
    │   ├── WrongPatient  what was stated, scanned or sent is not what the request says
    │   └── TubeTaken     another browser settled this tube first; says who and when
    ├── SpinError         tubes and centrifuges that do not make one question
    └── ExchangeError     bytes from outside that cannot be read

Messages say where, what was found, what was expected and what to do, and never hold a
patient's name or number.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime


def one_line(text: str) -> str:
    """The text with a question mark for every letter that a terminal would obey, or that cannot be printed.

    >>> one_line("K\\x1b[31m"), one_line("Ä 5 µL")
    ('K?[31m', 'Ä 5 µL')
    """
    return text if text.isprintable() else "".join(letter if letter.isprintable() else "?" for letter in text)


class CubitalError(Exception):
    """Base of every error raised on purpose; `where` names the file, entry or field."""

    def __init__(self, message: str, *, where: str = "") -> None:
        self.where = where = one_line(where)
        self.message = message = one_line(message)
        super().__init__(f"{where}: {message}" if where else message)

    def __reduce__(self) -> tuple[object, ...]:
        return (_revive, (type(self), dict(self.__dict__), self.args))


def _revive(kind: type[CubitalError], attributes: dict[str, object], args: tuple[object, ...]) -> CubitalError:
    error = kind.__new__(kind)
    error.__dict__.update(attributes)
    error.args = args
    return error


class FactsError(CubitalError, ValueError):
    """A shipped fact is malformed or has no source."""


class UnitError(CubitalError, ValueError):
    """A quantity that cannot be read, or whose unit is missing or wrong."""


class SiteError(CubitalError, ValueError):
    """A site folder that cannot be used; `findings` holds every line of the lint."""

    def __init__(self, message: str, *, where: str = "", findings: Sequence[str] = ()) -> None:
        self.findings = tuple(findings)
        super().__init__(message, where=where)


class StaleSite(SiteError):
    """Someone else saved the site since this change was begun.

    `expected` is the number of the version that the change was made from, `found` the newest one;
    `by` and `at` say who saved that one, and when.
    """

    def __init__(
        self, message: str, *, where: str = "", expected: int = 0, found: int = 0, by: str = "",
        at: datetime | None = None,
    ) -> None:  # fmt: skip
        self.expected = expected
        self.found = found
        self.by = by
        self.at = at
        super().__init__(message, where=where)


class OtherDraft(SiteError):
    """What was brought in and not saved is not what was looked over: another file came in since."""


class OrderError(CubitalError, ValueError):
    """An order that cannot be planned as written."""


class UnknownTest(OrderError, LookupError):
    """Nobody defined this test at this site.

    `near` holds the keys of names near it; `looks` the tube kinds whose stopper looks as the word says.
    """

    def __init__(
        self, message: str, *, where: str = "", asked: str = "", near: Sequence[str] = (), looks: Sequence[str] = ()
    ) -> None:
        self.asked = asked
        self.near = tuple(near)
        self.looks = tuple(looks)
        super().__init__(message, where=where)


class AmbiguousTest(OrderError):
    """The name stands for several tests; `choices` holds their keys."""

    def __init__(self, message: str, *, where: str = "", asked: str = "", choices: Sequence[str] = ()) -> None:
        self.asked = asked
        self.choices = tuple(choices)
        super().__init__(message, where=where)


class NotBloodTest(OrderError):
    """A request for something that is not a blood test."""


class UnsettledWords(OrderError):
    """Nothing of this order may be taken: `words` do not say which test is meant."""

    def __init__(self, message: str, *, where: str = "", words: Sequence[str] = ()) -> None:
        self.words = tuple(words)
        super().__init__(message, where=where)


class PlanError(CubitalError, ValueError):
    """A sound order that this site cannot plan."""


class NoTube(PlanError):
    """No stocked, unexpired tube that this access can fill serves the test `test`."""

    def __init__(self, message: str, *, where: str = "", test: str = "") -> None:
        self.test = test
        super().__init__(message, where=where)


class UnplacedKind(PlanError):
    """The order-of-draw policy is silent on `kind`; `choices` says what each source holds."""

    def __init__(
        self, message: str, *, where: str = "", kind: str = "", policy: str = "", choices: Sequence[str] = ()
    ) -> None:
        self.kind = kind
        self.policy = policy
        self.choices = tuple(choices)
        super().__init__(message, where=where)


class RecordError(CubitalError):
    """The record of specimens refuses: what it holds and what was asked of it do not go together."""


class ImpossibleEvent(RecordError, ValueError):
    """An event that cannot follow what has happened to this specimen."""


class LostRace(RecordError):
    """Another station changed this specimen first.

    `expected` is how many of its events the writer had seen, `found` how many there are; `by`,
    `station`, `at` and `did` say who wrote the first one that the writer had not seen, and when.
    """

    def __init__(
        self,
        message: str,
        *,
        where: str = "",
        specimen: str = "",
        expected: int = 0,
        found: int = 0,
        by: str = "",
        station: str = "",
        at: datetime | None = None,
        did: str = "",
    ) -> None:
        self.specimen = specimen
        self.expected = expected
        self.found = found
        self.by = by
        self.station = station
        self.at = at
        self.did = did
        super().__init__(message, where=where)


class KeyReused(RecordError, ValueError):
    """The key of this event is in the record and stands for another one."""


class ClockSetBack(RecordError):
    """The clock stands at `now`, before the last moment recorded, `last`, by more than is let pass."""

    def __init__(self, message: str, *, where: str = "", now: datetime, last: datetime) -> None:
        self.now = now
        self.last = last
        super().__init__(message, where=where)


class BrokenChain(RecordError):
    """The record is not what was written; `sequence` is the first entry that does not fit."""

    def __init__(self, message: str, *, where: str = "", sequence: int = 0) -> None:
        self.sequence = sequence
        super().__init__(message, where=where)


class UnreadyRecord(RecordError):
    """There is no record there yet, or it is of an edition that this program does not write."""


class RecordUnavailable(RecordError, OSError):
    """The database cannot be reached, read or written.

    `is_outcome_known` is false where the answer to a commit was lost: what was sent may have been
    recorded, and sending it again with the same keys tells.
    """

    def __init__(self, message: str, *, where: str = "", is_outcome_known: bool = True) -> None:
        self.is_outcome_known = is_outcome_known
        super().__init__(message, where=where)


class LocalTimeError(CubitalError, ValueError):
    """A local time that the clocks skipped, that they showed twice, or that is no time at all."""


class PaperError(CubitalError, ValueError):
    """What cannot be printed so that it can be read; `field` names what does not fit or has no letters."""

    def __init__(self, message: str, *, where: str = "", field: str = "") -> None:
        self.field = field
        super().__init__(message, where=where)


class MissingLibrary(CubitalError, ImportError):
    """A part of cubital needs a library that is not installed; the message names the command."""

    @classmethod
    def of(cls, library: str | None, *, need: str, extra: str, where: str) -> MissingLibrary:
        """The error for this library, which `need` cannot do without: how a checkout gets it, and how a wheel.

        >>> print(MissingLibrary.of("numpy", need="it", extra="inference", where="suspect").message)
        found no numpy; it needs it; in a checkout run: scripts/setup web; else: pip install "cubital[inference]"
        """
        # What `scripts/setup web` installs, from a list with hashes; the test of the requirements holds it to that.
        has_list = extra in ("web", "server", "inference", "paper")
        checkout = "scripts/setup web" if has_list else f'.venv/bin/pip install -e ".[{extra}]"'
        return cls(
            f'found no {library}; {need} needs it; in a checkout run: {checkout}; else: pip install "cubital[{extra}]"',
            where=where,
        )


class ReceiptError(CubitalError, ValueError):
    """An exception that may not be made for a specimen, or a specimen that cannot be judged as asked."""


class TakingError(CubitalError, ValueError):
    """A tap at the chair that cannot be taken as it was sent."""


class WrongPatient(TakingError):
    """What was stated, scanned or sent is not what the request says; no message holds any of it."""


class TubeTaken(TakingError):
    """Another browser settled this tube first: `by` at `station`, at the instant `at`."""

    def __init__(self, message: str, *, where: str = "", by: str, station: str, at: datetime) -> None:
        self.by = by
        self.station = station
        self.at = at
        super().__init__(message, where=where)


class SpinError(CubitalError, ValueError):
    """Tubes and centrifuges that do not make one question: a name given twice, a program not known."""


class AccountError(CubitalError, ValueError):
    """An account that cannot be made or changed so; no message holds a password."""


class SignInRefused(AccountError):
    """Nobody is let in; `wait_s` is how long until another try is looked at, None at once."""

    def __init__(self, message: str, *, where: str = "", wait_s: int | None = None) -> None:
        self.wait_s = wait_s
        super().__init__(message, where=where)


class ExchangeError(CubitalError, ValueError):
    """Bytes from outside that cannot be read."""

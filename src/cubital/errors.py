"""Every error that `cubital` raises on purpose.

    CubitalError
    ├── FactsError        a shipped fact is malformed or has no source
    ├── UnitError         a quantity that cannot be read
    ├── SiteError         a site folder that cannot be used; carries every finding
    ├── OrderError        an order that cannot be planned as written
    │   ├── UnknownTest   nobody defined this test; carries near misses
    │   ├── AmbiguousTest the name stands for several tests; carries them
    │   └── NotBloodTest  a request for something that is not a blood test
    ├── PlanError         a sound order that this site cannot plan
    │   ├── NoTube        no stocked, unexpired tube serves this test
    │   └── UnplacedKind  the order-of-draw policy is silent on a tube kind
    ├── RecordError       the record of specimens refuses
    │   └── ImpossibleEvent  an event that cannot follow what has happened to a specimen
    └── ExchangeError     bytes from outside that cannot be read

Messages say where, what was found, what was expected and what to do, and never hold a
patient's name or number.
"""

from __future__ import annotations

from collections.abc import Sequence


class CubitalError(Exception):
    """Base of every error raised on purpose; `where` names the file, entry or field."""

    def __init__(self, message: str, *, where: str = "") -> None:
        self.where = where
        self.message = message
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


class OrderError(CubitalError, ValueError):
    """An order that cannot be planned as written."""


class UnknownTest(OrderError, LookupError):
    """Nobody defined this test at this site; `near` holds the closest names."""

    def __init__(self, message: str, *, where: str = "", asked: str = "", near: Sequence[str] = ()) -> None:
        self.asked = asked
        self.near = tuple(near)
        super().__init__(message, where=where)


class AmbiguousTest(OrderError):
    """The name stands for several tests; `choices` holds their keys."""

    def __init__(self, message: str, *, where: str = "", asked: str = "", choices: Sequence[str] = ()) -> None:
        self.asked = asked
        self.choices = tuple(choices)
        super().__init__(message, where=where)


class NotBloodTest(OrderError):
    """A request for something that is not a blood test."""


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


class ExchangeError(CubitalError, ValueError):
    """Bytes from outside that cannot be read."""

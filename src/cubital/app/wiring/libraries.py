"""What is said where a library is not installed that an adapter needs."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator

from cubital.errors import MissingLibrary


@contextlib.contextmanager
def needing(what: str, extra: str) -> Iterator[None]:
    """Turn a library that is not installed into `MissingLibrary`: what needs it, and the extra that installs it."""
    try:
        yield
    except ModuleNotFoundError as error:
        raise MissingLibrary.of(error.name, need=what, extra=extra, where=what.split()[-1]) from None


def needing_server() -> contextlib.AbstractContextManager[None]:
    """The same for what keeps the record."""
    return needing("the record", "server")

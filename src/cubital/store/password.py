"""Passwords kept as argon2id hashes, slow on purpose."""

from __future__ import annotations

import threading

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

MOST_AT_ONCE = 4


class Argon2Hasher:
    """Argon2id with the library's parameters (RFC 9106's second choice: 64 MiB, 3 passes); a tenth of a second.

    At most `MOST_AT_ONCE` are reckoned at the same time: whoever floods the door takes 256 MiB and no more.
    """

    def __init__(self) -> None:
        self._hasher = PasswordHasher()
        self._turns = threading.BoundedSemaphore(MOST_AT_ONCE)

    def hash(self, password: str) -> str:
        """The hash to keep; it holds its own salt and parameters."""
        with self._turns:
            return self._hasher.hash(password)

    def is_right(self, kept: str, password: str) -> bool:
        """Whether this is the password that was kept so."""
        try:
            with self._turns:
                return self._hasher.verify(kept, password)
        except (InvalidHashError, VerificationError, UnicodeEncodeError):
            return False

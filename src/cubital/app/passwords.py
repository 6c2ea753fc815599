"""What may be a password: long enough, and not among the first that anyone would guess."""

from __future__ import annotations

import re
import secrets

from cubital.errors import AccountError

LEAST_LETTERS, MOST_LETTERS = 12, 200
# Begins most lists of stolen passwords, or stands near whoever guesses here; from memory.
_COMMON = re.compile(
    "password|passwort|qwerty?|qwertz|asdfg?h?|yxcvb?|zxcvb?|letmein|welcome|administrator|admin|changeme|secret|login|"
    "hospital|laborator(?:y|ium)|cubital|nurse|doctor|blood|abcd?e?f?|monkey|dragon|iloveyou|summer|winter|spring|autumn"
)
# No vowels, so that no word comes about; none that looks like another or like a figure.
_READABLE = "bcdfghjkmnpqrstvwxz"
_LEAST_OTHER, _LEAST_NAME, _LEAST_LEFT = 5, 4, 6


def need_password(password: str, *, name: str) -> str:
    """The password; raises `AccountError` where it is short, long or easy to guess.

    Easy is what holds the name, repeats itself, or has less than six letters left once the words of common passwords
    are taken out (NIST SP 800-63B-4, 3.1.1.2, asks that such lists be refused and for no mixture of kinds of letters).
    """
    if not LEAST_LETTERS <= len(password) <= MOST_LETTERS:
        raise AccountError(
            f"found {len(password)} letters; expected {LEAST_LETTERS} to {MOST_LETTERS}; three or four words do",
            where="password",
        )
    if _is_easy(password.casefold(), name=name):
        raise AccountError(
            "found it easy to guess; expected three or four words that do not belong together; choose others",
            where="password",
        )
    return password


def offer_password() -> str:
    """A first password that nobody can guess and anyone can read out: three groups of four letters, 51 bits.

    >>> len(need_password(offer_password(), name="ben"))
    14
    """
    while True:
        found = "-".join("".join(secrets.choice(_READABLE) for _ in range(4)) for _ in range(3))
        if not _is_easy(found, name="cubital"):
            return found


def _is_easy(folded: str, *, name: str) -> bool:
    # A short name is part of many words: it counts where it stands alone.
    is_named = name in (folded if len(name) >= _LEAST_NAME else re.split(r"[\W\d_]+", folded))
    is_repeated = folded in (folded + folded)[1:-1]
    left = sum(letter.isalpha() for letter in _COMMON.sub("", folded))
    return is_named or is_repeated or len(set(folded)) < _LEAST_OTHER or left < _LEAST_LEFT

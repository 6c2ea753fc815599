"""Which passwords are taken."""

from __future__ import annotations

import pytest

from cubital.app.passwords import LEAST_LETTERS, MOST_LETTERS, need_password
from cubital.errors import AccountError


@pytest.mark.parametrize(
    "words",
    ["seven quiet otters", "nine tall willows", "bending spoons ben", "a" * 6 + "bcdefghi", "hospital otters quiet",
     "Vier fröhliche Dachse", "七匹の静かなかわうそが川で", "x7#kq!9vLm2$wtR"],
)  # fmt: skip
def test_words_that_nobody_would_try_first_are_taken(words: str) -> None:
    assert need_password(words, name="be") == words


@pytest.mark.parametrize(
    "words",
    ["password1234", "Passwort-2026!",
     "123456789012", "qwertyuiop12", "qwertyqwerty", "Hospital2026!", "cubital cubital",
     "welcome12345", "administrator1", "summer2026summer", "otters otters ", "abcabcabcabc", "aaaabbbbaaaabbbb",
     "ottoline4ever", "ben has seven otters"],
)  # fmt: skip
def test_what_anyone_would_try_first_is_refused(words: str) -> None:
    name = "ottoline" if "ottoline" in words else "ben"
    with pytest.raises(AccountError, match="easy to guess"):
        need_password(words, name=name)


def test_a_password_has_twelve_to_two_hundred_letters() -> None:
    fits = "seven otters quietly " * 20
    for length in (LEAST_LETTERS, MOST_LETTERS):
        assert need_password(fits[:length], name="ben") == fits[:length]
    for length in (LEAST_LETTERS - 1, MOST_LETTERS + 1):
        with pytest.raises(AccountError, match=f"found {length} letters"):
            need_password(fits[:length], name="ben")

"""The words of an order that do not say which test is meant: set apart, so that the rest is planned."""

from __future__ import annotations

from typing import NamedTuple

import msgspec

from cubital.errors import AmbiguousTest, NotBloodTest, OrderError, UnknownTest
from cubital.model import Order, Unsettled
from cubital.planning.directory import MOST_TEXT, Directory

WORD_ERRORS = (UnknownTest, AmbiguousTest, NotBloodTest)
"""What a word may be refused for; anything else that is wrong with an order is wrong with all of it."""


class Settled(NamedTuple):
    """The order of the words that settle, None where none does; and the words that do not, in their order."""

    order: Order | None
    unsettled: tuple[Unsettled, ...]


def settle(order: Order, directory: Directory) -> Settled:
    """Sets apart each word of the order that names no test here, several, or a test that is not of blood.

    Nothing else of the order is looked at: a kept test or an event that is unknown stays in it, and is refused with it.

    >>> from cubital.model import Ask, Site, Test
    >>> site = Site(name="s", kinds={}, tests={"potassium": Test(key="potassium", name="potassium", bench="b")})
    >>> found = settle(Order(asks=(Ask(test="potasium"), Ask(test="potassium"))), Directory(site))
    >>> [ask.test for ask in found.order.asks], [(one.word, one.near) for one in found.unsettled]
    (['potassium'], [('potasium', ('potassium',))])
    """
    clear, unsettled = [], []
    for number, ask in enumerate(order.asks):
        found = ask.unsettled or unsettled_word(ask.test, directory, system=ask.system, where=f"tests[{number}]")
        if found is None:
            clear.append(msgspec.structs.replace(ask, place=number))
        else:
            unsettled.append(found)
    if not unsettled:
        return Settled(order, ())
    return Settled(msgspec.structs.replace(order, asks=tuple(clear)) if clear else None, tuple(unsettled))


def unsettled_word(text: str, directory: Directory, *, system: str | None = None, where: str) -> Unsettled | None:
    """What is wrong with this word; None where it names one test or panel."""
    try:
        directory.resolve(text, system=system, where=where)
    except WORD_ERRORS as error:
        return unsettled_of(error, text)
    return None


def unsettled_of(error: OrderError, word: str) -> Unsettled:
    """The word that was refused with this error, one of `WORD_ERRORS`."""
    word = word[:MOST_TEXT]
    if isinstance(error, UnknownTest):
        return Unsettled(
            word=word, where=error.where, trouble="unknown", said=error.message, near=error.near, looks=error.looks
        )
    if isinstance(error, AmbiguousTest):
        return Unsettled(word=word, where=error.where, trouble="ambiguous", said=error.message, choices=error.choices)
    return Unsettled(word=word, where=error.where, trouble="not-blood", said=error.message)


def error_of(one: Unsettled) -> OrderError:
    """The error that a word was refused with."""
    if one.trouble == "unknown":
        return UnknownTest(one.said, where=one.where, asked=one.word, near=one.near, looks=one.looks)
    if one.trouble == "ambiguous":
        return AmbiguousTest(one.said, where=one.where, asked=one.word, choices=one.choices)
    return NotBloodTest(one.said, where=one.where)

"""Whatever arrives, every reader gives a value or says in one printable line what is wrong, and soon."""

from __future__ import annotations

import time

import pytest

from tests.attack.readers import READERS, Reader, try_once

SHORT, LONG = 3_000, 200_000
MOST_S = 10.0
"""No small input may take so long of the core on the slowest machine that runs this: what does turns for ever."""


def inputs_of(reader: Reader, total: int) -> int:
    return -(-total * reader.share // sum(one.share for one in READERS))


def try_many(reader: Reader, seeds: range) -> list[str]:
    found = []
    for seed in seeds:
        start = time.process_time()
        wrong = try_once(reader, seed)
        if wrong is None and time.process_time() - start > MOST_S:
            wrong = f"{reader.name} {seed}: took {time.process_time() - start:.0f} s"
        if wrong is not None:
            found.append(wrong)
    return found


@pytest.mark.parametrize("reader", READERS, ids=lambda reader: reader.name)
def test_spoilt_input_is_read_or_refused_in_words(reader: Reader) -> None:
    assert not try_many(reader, range(inputs_of(reader, SHORT)))


@pytest.mark.long
@pytest.mark.parametrize("reader", READERS, ids=lambda reader: reader.name)
def test_two_hundred_thousand_spoilt_inputs_are_read_or_refused_in_words(reader: Reader) -> None:
    assert sum(inputs_of(one, LONG) for one in READERS) >= LONG
    found = try_many(reader, range(inputs_of(reader, SHORT), inputs_of(reader, SHORT) + inputs_of(reader, LONG)))
    assert not found, "\n".join(found[:20])

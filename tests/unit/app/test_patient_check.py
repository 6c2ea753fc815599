"""Two identifiers as stated against those of the request: what is equal, and that nothing near is."""

from __future__ import annotations

import datetime

import pytest

from cubital.app.patient_check import Said, is_same, read_birth_date, read_identity, refuse_another_patient
from cubital.errors import TakingError, WrongPatient
from tests.unit.app.identity_cases import AGREE, DIFFER, NO_REQUEST, REQUEST


@pytest.mark.parametrize(("name", "second"), AGREE)
def test_what_the_patient_states_agrees_whatever_the_spelling_of_case_and_space(name: str, second: str) -> None:
    said = Said(*REQUEST, name, second)
    refuse_another_patient(said, read_identity(said))


@pytest.mark.parametrize(("name", "second"), DIFFER)
def test_nothing_near_is_taken_for_equal(name: str, second: str) -> None:
    said = Said(*REQUEST, name, second)
    with pytest.raises(WrongPatient, match="do not draw") as refused:
        refuse_another_patient(said, read_identity(said))
    for secret in (*REQUEST, name, second):
        assert not secret.strip() or secret not in str(refused.value)


@pytest.mark.parametrize(("fields", "where"), NO_REQUEST)
def test_a_request_that_cannot_be_read_is_refused_by_its_field_and_without_its_words(
    fields: tuple[str, str, str], where: str
) -> None:
    with pytest.raises(TakingError) as refused:
        read_identity(Said(*fields, "", ""))
    assert refused.value.where == where
    assert all(not text.strip() or text not in str(refused.value) for text in fields)


def test_a_name_without_a_comma_is_not_turned_round() -> None:
    one = read_identity(Said("Thomas Martin", "X-1", "1958-03-02", "", ""))
    other = read_identity(Said("Martin Thomas", "X-1", "1958-03-02", "", ""))
    turned = read_identity(Said("Martin, Thomas", "X-1", "19580302", "", ""))
    assert not is_same(one, other)
    assert is_same(one, turned)


def test_a_day_is_read_year_first_only() -> None:
    assert read_birth_date(" 1958-03-02 ") == read_birth_date("19580302") == datetime.date(1958, 3, 2)
    for text in ("1958-0302", "195803-02", "02.03.1958", "1958-02-30", "1958-3-2", "", "١٩٥٨-٠٣-٠٢"):
        assert read_birth_date(text) is None


def test_what_was_said_is_not_in_its_trace() -> None:
    assert repr(Said(*REQUEST, "a", "b")) == "Said(…)"

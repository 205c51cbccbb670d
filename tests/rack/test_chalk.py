"""Ids to chalk: each once, none to be confused, misread ones known as such."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nesting.errors import InputError
from nesting.rack.chalk import ALPHABET, chalk_id, has_check, written_id

numbers = st.integers(0, 10_000_000)


def test_every_number_has_its_own_id():
    found = [chalk_id(n) for n in range(61_000)]
    assert len(set(found)) == len(found)
    assert {len(i) for i in found[:2576]} == {4} and {len(i) for i in found[2576:]} == {5}
    assert found[0] == "A22R"


@given(numbers)
def test_an_id_is_of_signs_that_no_hand_confuses_and_no_word_or_number(number: int):
    id = chalk_id(number)
    assert set(id) <= set(ALPHABET) and not set(id) & set("01OQILS5BGUVZ")
    assert id[0].isalpha() and id[1].isdigit()
    assert has_check(id) and written_id(f" {id.lower()}\n") == id


@given(numbers, st.data())
def test_one_sign_misread_is_found(number: int, data: st.DataObject):
    id = chalk_id(number)
    at = data.draw(st.integers(0, len(id) - 1))
    other = data.draw(st.sampled_from([s for s in ALPHABET if s != id[at]]))
    assert not has_check(id[:at] + other + id[at + 1 :])


@given(numbers, st.data())
def test_two_neighbours_swapped_are_found(number: int, data: st.DataObject):
    id = chalk_id(number)
    at = data.draw(st.integers(0, len(id) - 2))
    swapped = id[:at] + id[at + 1] + id[at] + id[at + 2 :]
    assert swapped == id or not has_check(swapped)


@pytest.mark.parametrize("text", ["", "  ", "a b", "-1", "x" * 17, "A\u00e4"])
def test_what_is_no_id_is_refused(text: str):
    with pytest.raises(InputError, match="is no id of a piece; expected up to 16 letters"):
        written_id(text)

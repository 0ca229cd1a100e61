"""Rows in portions: all of them, in their order, none of the portions too long."""

from hypothesis import given
from hypothesis import strategies as st

from shared.portions import in_portions


@given(st.lists(st.integers()), st.integers(1, 12))
def test_nothing_is_lost_and_no_portion_is_too_long_or_empty(rows, size):
    portions = list(in_portions(rows, size))
    assert [row for portion in portions for row in portion] == rows
    assert all(1 <= len(portion) <= size for portion in portions)
    assert len(portions) == -(-len(rows) // size)

"""Do columns come out of a checkpoint as they went in, one written long ago too?"""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from rules.packing import pack, unpack

TIMES = [1_781_092_800_000, 1_781_092_810_000, 1_781_092_820_123]
VALUES = [2150, -3, 2**40]
IN_BASE_85 = "cmZPwOW!z;k%2)#odFEGp>!Gtgg^cJe=uMMae?Xp;(ZG7"
"""Both, as checkpoints were written at first."""


@given(st.lists(st.tuples(st.integers(-(2**62), 2**62), st.integers(-(2**62), 2**62)), max_size=50))
def test_columns_come_out_as_they_went_in(rows: list[tuple[int, int]]) -> None:
    """Two columns of one length, none included, are the same after packing and unpacking."""
    columns = [np.array([row[place] for row in rows], np.int64) for place in (0, 1)]
    found = unpack(pack(*columns), 2)
    assert [column.tolist() for column in found] == [column.tolist() for column in columns]


def test_a_checkpoint_in_base_85_is_read() -> None:
    """A store whose checkpoint was written before base64 came goes on from it."""
    assert [column.tolist() for column in unpack(IN_BASE_85, 2)] == [TIMES, VALUES]

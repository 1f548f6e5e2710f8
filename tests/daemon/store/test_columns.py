"""Do sealed columns come back bit for bit, and does a flipped bit never pass?"""

from __future__ import annotations

import zlib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.store.columns import NOT_BEHIND, Columns, Damaged, pack, unpack

readings = st.lists(
    st.tuples(
        st.integers(0, 2**42),
        st.integers(-(2**53), 2**53),
        st.sampled_from([1, 2, 3, 4, 9]),
        st.none() | st.integers(0, 2**42),
    ),
    min_size=1,
    max_size=50,
)


def columns(rows: list[tuple[int, int, int, int | None]]) -> Columns:
    """Columns from rows."""
    return Columns(
        np.array([r[0] for r in rows], np.int64),
        np.array([r[1] for r in rows], np.int64),
        np.array([r[2] for r in rows], np.uint8),
        np.array([NOT_BEHIND if r[3] is None else r[3] for r in rows], np.int64),
    )


@settings(deadline=None)
@given(readings)
def test_what_was_packed_comes_back(rows: list[tuple[int, int, int, int | None]]) -> None:
    """Times, values, flags and effective instants are the same numbers of the same types."""
    given_columns = columns(rows)
    came_back = unpack(pack(given_columns))
    for name in Columns._fields:
        before, after = getattr(given_columns, name), getattr(came_back, name)
        assert after.dtype == before.dtype
        assert after.tolist() == before.tolist()


@settings(deadline=None)
@given(readings, st.data())
def test_any_flipped_bit_is_seen(rows: list[tuple[int, int, int, int | None]], data: st.DataObject) -> None:
    """A memory card that rots one bit yields an error, never another value."""
    packed = bytearray(pack(columns(rows)))
    bit = data.draw(st.integers(0, 8 * len(packed) - 1))
    packed[bit // 8] ^= 1 << bit % 8
    with pytest.raises(Damaged):
        unpack(bytes(packed))


@pytest.mark.parametrize("kept", [0, 3, 20, -1])
def test_a_cut_block_is_seen(kept: int) -> None:
    """Bytes that end early are damage."""
    with pytest.raises(Damaged, match="checksum"):
        unpack(pack(columns([(1, 2, 1, None)] * 9))[:kept])


def test_an_unknown_format_is_named() -> None:
    """A block of a later format is not guessed at."""
    packed = bytearray(pack(columns([(1, 2, 1, None)])))
    packed[4] = 7
    packed[:4] = zlib.crc32(packed[4:]).to_bytes(4, "little")
    with pytest.raises(Damaged, match="format 7"):
        unpack(bytes(packed))


def test_a_year_of_thirty_points_fits_a_small_card() -> None:
    """A day of 10 s readings with noise of a few counts takes under 12 KB: 30 points for a year under 130 MB."""
    rng = np.random.default_rng(4)
    times = 1_775_174_400_000 + np.arange(8640) * 10_000 + rng.integers(-20, 21, 8640)
    values = 25_000 + np.cumsum(rng.integers(-3, 4, 8640))
    size = len(pack(Columns(times, values, np.full(8640, 1, np.uint8), np.full(8640, NOT_BEHIND, np.int64))))
    assert size < 12_000

"""Do sealed columns come back bit for bit, and does a flipped bit never pass?"""

from __future__ import annotations

import base64
import zlib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.store.columns import NOT_BEHIND, NOT_SAID, Columns, Damaged, pack, unpack

readings = st.lists(
    st.tuples(
        st.integers(0, 2**42),
        st.integers(-(2**53), 2**53),
        st.sampled_from([1, 2, 3, 4, 9]),
        st.none() | st.integers(0, 2**42),
        st.sampled_from([NOT_SAID, 1, 2, 3, 4]),
        st.sampled_from([NOT_SAID, 1, 3, 4]),
    ),
    min_size=1,
    max_size=50,
)

OF_THE_FIRST_FORMAT = base64.b64decode(
    "7mRtdQEjAAAAHwAAABMAAAAmAAAAcGNvIQMAwQQBBAIAABABAQAwdQAAAAAAQAAAuKNQnQEAgABwY28hAwDBBAEEAgAAABAASAYAAAAAAABUAABU"
    "HAAAcGNvIQMAwQQBCgIAAAAQABAAAHBjbyEDAMEEAQQCAAAAIgAQAAAAAAAAAAAAyJ0pVGcAACAAGgAA"
)

Row = tuple[int, int, int, int | None, int, int]


def columns(rows: list[Row]) -> Columns:
    """Columns from rows."""
    return Columns(
        np.array([r[0] for r in rows], np.int64),
        np.array([r[1] for r in rows], np.int64),
        np.array([r[2] for r in rows], np.uint8),
        np.array([NOT_BEHIND if r[3] is None else r[3] for r in rows], np.int64),
        np.array([r[4] for r in rows], np.uint8),
        np.array([r[5] for r in rows], np.uint8),
    )


@settings(deadline=None)
@given(readings)
def test_what_was_packed_comes_back(rows: list[Row]) -> None:
    """Times, values, flags and effective instants are the same numbers of the same types."""
    given_columns = columns(rows)
    came_back = unpack(pack(given_columns))
    for name in Columns._fields:
        before, after = getattr(given_columns, name), getattr(came_back, name)
        assert after.dtype == before.dtype
        assert after.tolist() == before.tolist()


@settings(deadline=None)
@given(readings, st.data())
def test_any_flipped_bit_is_seen(rows: list[Row], data: st.DataObject) -> None:
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
        unpack(pack(columns([(1, 2, 1, None, 1, 3)] * 9))[:kept])


def test_an_unknown_format_is_named() -> None:
    """A block of a later format is not guessed at."""
    packed = bytearray(pack(columns([(1, 2, 1, None, NOT_SAID, NOT_SAID)])))
    packed[4] = 7
    packed[:4] = zlib.crc32(packed[4:]).to_bytes(4, "little")
    with pytest.raises(Damaged, match="format 7"):
        unpack(bytes(packed))


def test_a_block_of_the_first_format_is_read() -> None:
    """Bytes that the version before judged flags were kept wrote: of no reading was anything said."""
    start = 20_546 * 86_400_000
    found = unpack(OF_THE_FIRST_FORMAT)
    assert found.times.tolist() == [start, start + 60_000, start + 120_000]
    assert found.values.tolist() == [201, 990, 202]
    assert found.effective.tolist() == [NOT_BEHIND, NOT_BEHIND, start + 180_000]
    assert found.last_flags().tolist() == found.flags.tolist() == [2, 2, 2]


def test_a_reading_ends_with_the_last_that_was_said_of_it() -> None:
    """The final flag, else that by which rules judged it, else that with which it came."""
    rows = [(1, 0, 2, None, NOT_SAID, NOT_SAID), (2, 0, 2, None, 1, NOT_SAID), (3, 0, 2, None, 1, 4)]
    assert columns([*rows, (4, 0, 3, None, NOT_SAID, 4)]).last_flags().tolist() == [2, 1, 4, 4]


def test_whether_a_reading_has_a_value_is_as_it_is_read_now() -> None:
    """A calibration that came later gave one that was missing when judged a value, and took one from another."""
    assert columns([(1, 7, 2, None, 9, NOT_SAID), (2, 0, 9, None, 1, NOT_SAID)]).last_flags().tolist() == [2, 9]


def test_a_year_of_thirty_points_fits_a_small_card() -> None:
    """A day of 10 s readings with noise of a few counts takes under 12 KB: 30 points for a year under 130 MB."""
    rng = np.random.default_rng(4)
    times = 1_775_174_400_000 + np.arange(8640) * 10_000 + rng.integers(-20, 21, 8640)
    values = 25_000 + np.cumsum(rng.integers(-3, 4, 8640))
    came, said = np.full(8640, 2, np.uint8), np.full(8640, 1, np.uint8)
    final = np.where(rng.random(8640) < 0.001, 4, NOT_SAID).astype(np.uint8)
    size = len(pack(Columns(times, values, came, np.full(8640, NOT_BEHIND, np.int64), said, final)))
    assert size < 12_000

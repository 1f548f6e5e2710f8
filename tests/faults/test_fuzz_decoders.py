"""Is every spoiled line read or refused with a cause? A few of each; fuzz_decoders.py takes any number by hand."""

from tests.faults.fuzz_decoders import run


def test_every_spoiled_line_is_read_or_refused_with_a_cause() -> None:
    """Fourteen decoders, 300 lines each, always the same."""
    assert run(300, seed=1).total() == 0

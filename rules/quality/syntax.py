"""What becomes of a message that is no reading? The door refuses it, so that it never needs a flag.

QARTOD syntax test (required): a received record that is not of the expected form is rejected, or flagged 4. Here it is
rejected: decoding and the door (rules/door.py) refuse what is no finite number, names no known point, carries a unit
that does not fit or counts beyond what can be stored. Each refusal is counted by its cause and shown, a bad line of a
recording by its number. A record that says that there is no value becomes a reading with flag 9. What passed the door
is well formed.
"""

from __future__ import annotations

from rules.flags import Flag


def syntax_flag(*, has_value: bool) -> Flag:
    """The syntax test's flag of a reading that passed the door."""
    return Flag.PASS if has_value else Flag.MISSING

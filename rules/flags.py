"""What opinion does a reading carry? The flags of QARTOD (UNESCO/IOC 2013)."""

from enum import IntEnum


class Flag(IntEnum):
    """Quality of one reading; the raw value is never changed."""

    PASS = 1
    NOT_EVALUATED = 2
    SUSPECT = 3
    FAIL = 4
    MISSING = 9

"""What are the daemon's own points and rules called?"""

from __future__ import annotations

OWN = "tidebed."
"""Ids that begin so are the daemon's own; no site file may use them."""

READINGS_AGE = "tidebed.readings_age"
CLOCK_JUMP = "tidebed.clock_jump"
DISK_FREE = "tidebed.disk_free"
UNSENT_AGE = "tidebed.unsent_age"
REFUSED = "tidebed.refused"
COMMIT_TIME = "tidebed.commit_time"
STARTS = "tidebed.starts"
BOARD = "tidebed.board_temperature"

NO_READINGS = "tidebed.no_readings"
CLOCK = "tidebed.clock"
DISK = "tidebed.disk"
UNSENT = "tidebed.unsent"
NOT_TAKEN = "tidebed.not_taken"
STORE = "tidebed.store"
RESTARTED = "tidebed.restarted"
BOARD_HOT = "tidebed.board_hot"
RULES = (NO_READINGS, CLOCK, DISK, UNSENT, NOT_TAKEN, STORE, RESTARTED, BOARD_HOT)

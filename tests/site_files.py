"""Which site file do tests start from? An invented place of ours; each test changes what it is about."""

from __future__ import annotations

SITE = """\
[site]
name = "Alder Lane"
timezone = "Europe/Dublin"
latitude = 53.3
longitude = -6.3
altitude = 40

[[point]]
id = "tank.temperature"
name = "Water in the tank"
quantity = "water_temperature"
unit = "degC"
resolution = 0.001
expect_every = "60 s"
stale_after = "5 min"
quality = "none"

[[point]]
id = "return.flow"
quantity = "flow"
expect_every = "10 s"

[[point]]
id = "pump.current"
quantity = "current"
unit = "A"

[[point]]
id = "house.air"
quantity = "air_temperature"
unit = "degF"

[[rule]]
id = "tank.warm"
kind = "band"
point = "tank.temperature"
high = 26.0
low = "64.4 degF"
deadband = 0.5
on_delay = "10 min"
priority = "high"
title = "Tank at {value}"

[[rule]]
id = "loop.stopped"
kind = "stopped"
needed = 2
priority = "critical"
explains = ["tank.warm"]
evidence = [
  { point = "return.flow", under = "30 L/h", lasting = "60 s" },
  { point = "pump.current", under = 0.1, lasting = "60 s" },
]

[[rule]]
id = "air.falls"
kind = "rate"
point = "house.air"
fall = "3 degC/h"

[[stage]]
id = "vents"
action = "open_vents"
point = "house.air"
on = 80
off = 75

[[person]]
id = "anna"
ways = ["anna_phone"]
"""


def changed(old: str, new: str, text: str = SITE) -> str:
    """The site file with `old`, which must stand in it once, replaced."""
    if text.count(old) != 1:
        raise ValueError(f"{old!r} stands {text.count(old)} times in the text")
    return text.replace(old, new)

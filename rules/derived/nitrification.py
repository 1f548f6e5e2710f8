"""How much acid does the filter make from the feed, and how long does the water's alkalinity last?"""

from __future__ import annotations

import numpy as np

from rules.derived.record import Argument, Derived, FloatOrArray

TAN_PER_FEED = 0.03
"""Ammonia nitrogen that fish give off for a mass of feed [g/g], from memory; about 32 % protein."""

_NITROGEN = 14.0067  # g/mol
_CALCIUM_CARBONATE = 100.0869  # g/mol; takes up two moles of acid


def nitrification_acid(feed: FloatOrArray, nitrogen: FloatOrArray = TAN_PER_FEED) -> FloatOrArray:
    """Acid that nitrifying bacteria make from the ammonia of the feed [mol/d].

    2 F n / 14.0067, by NH4+ + 2 O2 -> NO3- + 2 H+ + H2O; feed F [g/d], 0 to 1e7; nitrogen n, ammonia nitrogen for a
    mass of feed [1], 0 to 0.1. Stoichiometry, without what bacteria build into themselves and plants take up.
    """
    return 2.0 * feed * nitrogen / _NITROGEN


def carbonate_consumed(feed: FloatOrArray, nitrogen: FloatOrArray = TAN_PER_FEED) -> FloatOrArray:
    """Alkalinity that nitrification uses up, as calcium carbonate [g/d].

    100.0869/14.0067 F n, 7.15 g for a gram of nitrogen; arguments and limits of the method as in `nitrification_acid`.
    """
    return nitrification_acid(feed, nitrogen) / 2.0 * _CALCIUM_CARBONATE


def alkalinity_runway(
    alkalinity: FloatOrArray,
    limit: FloatOrArray,
    volume: FloatOrArray,
    feed: FloatOrArray,
    nitrogen: FloatOrArray = TAN_PER_FEED,
) -> FloatOrArray:
    """Days until nitrification has used the alkalinity down to a limit [d].

    (alkalinity - limit) V / (1000 carbonate_consumed), not below 0; alkalinity and limit [mg/L as CaCO3], 0 to 1000;
    volume V of all the water [L], 1 to 1e7; feed [g/d], 0.1 to 1e7; nitrogen [1], 0.001 to 0.1. Without additions,
    top-up and plants.
    """
    return np.maximum(alkalinity - limit, 0.0) * volume / (1000.0 * carbonate_consumed(feed, nitrogen))


_NITROGEN_MEANING = "ammonia nitrogen for a mass of feed"
_SHARE = Argument("nitrogen", "1", 0.0, 0.1, _NITROGEN_MEANING, default=TAN_PER_FEED)
_FEED = Argument("feed", "g/d", 0.0, 1e7, "feed in a day")
_SOURCE = "stoichiometry of NH4+ + 2 O2 -> NO3- + 2 H+ + H2O; 0.03 g of ammonia nitrogen for a gram of feed from memory"
_NOTE = "Without what bacteria build into themselves and plants take up as ammonium"

DERIVED = (
    Derived(
        name="nitrification_acid",
        meaning="acid that nitrifying bacteria make from the ammonia of the feed",
        function=nitrification_acid,
        arguments=(_FEED, _SHARE),
        unit="mol/d",
        equation="2 F n/14.0067",
        source=_SOURCE,
        note=_NOTE,
    ),
    Derived(
        name="carbonate_consumed",
        meaning="alkalinity that nitrification uses up, as calcium carbonate",
        function=carbonate_consumed,
        arguments=(_FEED, _SHARE),
        unit="g/d",
        equation="100.0869/14.0067 F n",
        source=_SOURCE,
        note=_NOTE,
    ),
    Derived(
        name="alkalinity_runway",
        meaning="days until nitrification has used the alkalinity down to a limit",
        function=alkalinity_runway,
        arguments=(
            Argument("alkalinity", "mg/L", 0.0, 1000.0, "alkalinity now, as calcium carbonate"),
            Argument("limit", "mg/L", 0.0, 1000.0, "alkalinity that must not be passed, as calcium carbonate"),
            Argument("volume", "L", 1.0, 1e7, "volume of all the water"),
            Argument("feed", "g/d", 0.1, 1e7, "feed in a day"),
            Argument("nitrogen", "1", 0.001, 0.1, _NITROGEN_MEANING, default=TAN_PER_FEED),
        ),
        unit="d",
        equation="max(0, alkalinity - limit) V/(1000 c); c = 100.0869/14.0067 F n",
        source=_SOURCE,
        note=f"{_NOTE}; without additions and top-up",
        result_quantity="duration",
    ),
)

"""How much do fish breathe and eat, and how many does a growing area carry?"""

from __future__ import annotations

from rules.derived.record import Argument, Derived, FloatOrArray


def fish_oxygen_demand(mass: FloatOrArray, temperature: FloatOrArray) -> FloatOrArray:
    """Oxygen that tilapia use, by the mass of one fish and the temperature of the water [mg/kg/h].

    2014.45 + 2.75 W - 165.2 T + 0.007 W^2 + 3.93 T^2 - 0.21 W T; mass W of one fish [g], 20 to 250; temperature T
    [degC], 24 to 32. Source: a tilapia trial in Scientific Reports 11:24130 (2021). The trial's own span was not read:
    this one is where the fitted surface behaves. A fit, so never go outside it.
    """
    return (
        2014.45
        + 2.75 * mass
        - 165.2 * temperature
        + 0.007 * mass**2
        + 3.93 * temperature**2
        - 0.21 * mass * temperature
    )


def feed_rate(area: FloatOrArray, ratio: FloatOrArray) -> FloatOrArray:
    """Feed that a growing area can take up [g/d].

    A r; area A [m2], 0 to 1e6; ratio r [g/m2/d], 0 to 500: 40 to 50 for leafy and 50 to 80 for fruiting plants, of feed
    with 32 % protein. Source: Somerville et al. 2014, FAO Fisheries and Aquaculture Technical Paper 589, 8.1. Another
    author gives 60 to 100 for rafts (Rakocy, Masser & Losordo, SRAC 454).
    """
    return area * ratio


def biomass_for_feed(feed: FloatOrArray, rate: FloatOrArray) -> FloatOrArray:
    """Mass of fish that eats so much feed [kg].

    F / (10 s); feed F [g/d], 0 to 1e7; rate s, feed in a day as a share of the fish's mass [%], 0.1 to 20: 1 to 2 for
    grown fish (FAO 589, 7.3).
    """
    return feed / (10.0 * rate)


def stocking_density(biomass: FloatOrArray, volume: FloatOrArray) -> FloatOrArray:
    """Mass of fish in a volume of water [kg/m3].

    1000 B / V; biomass B [kg], 0 to 1e6; volume V [L], 1 to 1e7. Keep below 20 (FAO 589, ch. 8).
    """
    return 1000.0 * biomass / volume


_FAO_589 = "Somerville et al. 2014, FAO Fisheries and Aquaculture Technical Paper 589"

DERIVED = (
    Derived(
        name="fish_oxygen_demand",
        meaning="oxygen that tilapia use in an hour",
        function=fish_oxygen_demand,
        arguments=(
            Argument("mass", "g", 20.0, 250.0, "mass of one fish"),
            Argument("temperature", "degC", 24.0, 32.0, "water temperature"),
        ),
        unit="mg/kg/h",
        equation="2014.45 + 2.75 W - 165.2 T + 0.007 W^2 + 3.93 T^2 - 0.21 W T",
        source="tilapia trial in Scientific Reports 11:24130 (2021)",
        note="A fit for tilapia; the trial's own span was not read, this is where the fitted surface behaves",
    ),
    Derived(
        name="feed_rate",
        meaning="feed that a growing area can take up",
        function=feed_rate,
        arguments=(
            Argument("area", "m2", 0.0, 1e6, "growing area"),
            Argument("ratio", "g/m2/d", 0.0, 500.0, "feed for an area in a day"),
        ),
        unit="g/d",
        equation="A r",
        source=f"{_FAO_589}, 8.1",
        note="40 to 50 g/m2/d for leafy, 50 to 80 for fruiting plants, feed with 32 % protein",
    ),
    Derived(
        name="biomass_for_feed",
        meaning="mass of fish that eats so much feed",
        function=biomass_for_feed,
        arguments=(
            Argument("feed", "g/d", 0.0, 1e7, "feed in a day"),
            Argument("rate", "%", 0.1, 20.0, "feed in a day as a share of the fish's mass"),
        ),
        unit="kg",
        equation="F/(10 s)",
        source=f"{_FAO_589}, 7.3",
        note="1 to 2 % for grown fish",
        result_quantity="mass",
    ),
    Derived(
        name="stocking_density",
        meaning="mass of fish in a volume of water",
        function=stocking_density,
        arguments=(
            Argument("biomass", "kg", 0.0, 1e6, "mass of the fish"),
            Argument("volume", "L", 1.0, 1e7, "volume of the tank"),
        ),
        unit="kg/m3",
        equation="1000 B/V",
        source="definition",
        note=f"Keep below 20 kg/m3 ({_FAO_589}, ch. 8)",
    ),
)

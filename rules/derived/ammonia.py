"""How much of the ammonia in the water is in the form that harms fish?"""

from __future__ import annotations

from rules.derived.record import Argument, Derived, FloatOrArray

NH3_PER_N = 17.0305 / 14.0067
"""Mass of ammonia that holds one mass of nitrogen [1]."""

_EQUATION = "f = 1/(1 + 10^(pKa - pH)); pKa = 0.09018 + 2729.92/(t + 273.15)"
_SOURCE = "Emerson, Russo, Lund & Thurston 1975 (J. Fish. Res. Board Can. 32:2379)"
_NOTE = "Fresh water"


def ammonia_pka(temperature: FloatOrArray) -> FloatOrArray:
    """Negative logarithm of the dissociation constant of ammonium [1].

    pKa = 0.09018 + 2729.92 / (t + 273.15); temperature t [degC], 0 to 50. Source: Emerson et al. 1975.
    """
    return 0.09018 + 2729.92 / (temperature + 273.15)


def ammonia_fraction(temperature: FloatOrArray, ph: FloatOrArray) -> FloatOrArray:
    """Un-ionised share of total ammonia, by moles and so by nitrogen [1].

    f = 1 / (1 + 10^(pKa - pH)); temperature [degC], 0 to 50; ph, 6 to 10. Source: Emerson et al. 1975.
    Fresh water; salt lowers the share slightly.
    """
    return 1.0 / (1.0 + 10.0 ** (ammonia_pka(temperature) - ph))


def unionised_ammonia(total_ammonia: FloatOrArray, temperature: FloatOrArray, ph: FloatOrArray) -> FloatOrArray:
    """Un-ionised ammonia as nitrogen, NH3-N [mg/L].

    f TAN; total_ammonia TAN [mg/L as N], 0 to 1000; the rest as in `ammonia_fraction`. Source: Emerson et al. 1975.
    A test kit that reads mg/L as NH3 or NH4 counts 1.22 or 1.29 times as much: divide first.
    """
    return ammonia_fraction(temperature, ph) * total_ammonia


def unionised_ammonia_nh3(total_ammonia: FloatOrArray, temperature: FloatOrArray, ph: FloatOrArray) -> FloatOrArray:
    """Un-ionised ammonia as NH3 [mg/L], 17.0305/14.0067 times the nitrogen in it.

    Arguments, ranges and source as in `unionised_ammonia`; total_ammonia stays in mg/L as N.
    """
    return unionised_ammonia(total_ammonia, temperature, ph) * NH3_PER_N


_WATER = (
    Argument("temperature", "degC", 0.0, 50.0, "water temperature"),
    Argument("ph", "pH", 6.0, 10.0, "pH of the water"),
)
_TOTAL = Argument("total_ammonia", "mg/L", 0.0, 1000.0, "total ammonia as nitrogen (TAN)")

DERIVED = (
    Derived(
        name="ammonia_fraction",
        meaning="un-ionised share of total ammonia",
        function=ammonia_fraction,
        arguments=_WATER,
        unit="1",
        equation=_EQUATION,
        source=_SOURCE,
        note=_NOTE,
        result_quantity="ratio",
    ),
    Derived(
        name="unionised_ammonia",
        meaning="un-ionised ammonia as nitrogen, the form that harms gills",
        function=unionised_ammonia,
        arguments=(_TOTAL, *_WATER),
        unit="mg/L",
        equation=f"NH3-N = f TAN; {_EQUATION}",
        source=_SOURCE,
        note=f"{_NOTE}; total ammonia and result as nitrogen",
        result_quantity="concentration",
    ),
    Derived(
        name="unionised_ammonia_nh3",
        meaning="un-ionised ammonia as NH3",
        function=unionised_ammonia_nh3,
        arguments=(_TOTAL, *_WATER),
        unit="mg/L",
        equation=f"NH3 = 17.0305/14.0067 f TAN; {_EQUATION}",
        source=_SOURCE,
        note=f"{_NOTE}; total ammonia as nitrogen, result as NH3",
        result_quantity="concentration",
    ),
)

"""How much water is in the soil, judged by its dielectric permittivity?"""

from __future__ import annotations

from rules.derived.record import Argument, Derived, FloatOrArray


def soil_water_content(permittivity: FloatOrArray) -> FloatOrArray:
    """Volume of water in a volume of mineral soil [%].

    100 (-0.053 + 0.0292 K - 5.5e-4 K^2 + 4.3e-6 K^3); apparent relative permittivity K [1], 3 to 40.
    Source: Topp, Davis & Annan 1980 (Water Resour. Res. 16:574), coefficients from memory. Within about 1.3 points
    of water in mineral soils, 3 points in dry soil under K 4; not for gravel, coir or peat, which need a calibration of
    their own.
    """
    return 100.0 * (-5.3e-2 + 2.92e-2 * permittivity - 5.5e-4 * permittivity**2 + 4.3e-6 * permittivity**3)


DERIVED = (
    Derived(
        name="soil_water_content",
        meaning="volume of water in a volume of mineral soil",
        function=soil_water_content,
        arguments=(Argument("permittivity", "1", 3.0, 40.0, "apparent relative permittivity of the soil"),),
        unit="%",
        equation="100 (-0.053 + 0.0292 K - 5.5e-4 K^2 + 4.3e-6 K^3)",
        source="Topp, Davis & Annan 1980 (Water Resour. Res. 16:574), coefficients from memory",
        note="Mineral soil; gravel, coir and peat need a calibration of their own",
        result_quantity="soil_moisture",
    ),
)

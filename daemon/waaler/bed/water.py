"""Liquid water near sea level: how heavy and how thick it is at a temperature.

A nutrient solution of 2 to 3 mS/cm differs by less than 0.3 % in density, and is taken for water.
"""

__all__ = ["density_kg_per_m3", "dynamic_viscosity_pa_s", "kinematic_viscosity_m2_per_s"]


def density_kg_per_m3(celsius: float) -> float:
    """0 to 40 C. Source: Tanaka et al. 2001, Metrologia 38, 301 (from memory, held to a table in the tests)."""
    a1, a2, a3, a4, a5 = -3.983035, 301.797, 522528.9, 69.34881, 999.974950
    return a5 * (1 - (celsius + a1) ** 2 * (celsius + a2) / (a3 * (celsius + a4)))


def dynamic_viscosity_pa_s(celsius: float) -> float:
    """-20 to 110 degrees C. Source: IAPWS SR6-08 (2011), equation 7 (from memory, held to a table in the tests)."""
    t = (celsius + 273.15) / 300
    return float(1e-6 * (280.68 * t**-1.9 + 511.45 * t**-7.7 + 61.131 * t**-19.6 + 0.45903 * t**-40.0))


def kinematic_viscosity_m2_per_s(celsius: float) -> float:
    """Dynamic viscosity by density."""
    return dynamic_viscosity_pa_s(celsius) / density_kg_per_m3(celsius)

"""Reference evapotranspiration of a day, and what each part of it comes from.

Source of every equation: Allen, Pereira, Raes, Smith: Crop evapotranspiration, FAO Irrigation and Drainage Paper
56, 1998; the numbers in the docstrings are its equations.
"""

from dataclasses import dataclass
from enum import StrEnum
from math import acos, asin, cos, exp, pi, radians, sin, sqrt, tan

from waaler.bed.weather import DayWeather

__all__ = [
    "Method", "Reference", "clear_sky_mj_per_m2", "daylight_h", "extraterrestrial_mj_per_m2", "hargreaves_mm",
    "net_longwave_mj_per_m2", "noon_height_rad", "penman_monteith_mm", "pressure_kpa", "psychrometric_kpa_per_c",
    "radiation_of_temperature", "reference_mm", "saturation_kpa",
    "saturation_slope_kpa_per_c", "vapour_kpa",
]  # fmt: skip

SOLAR_CONSTANT_MJ_PER_M2_MIN = 0.0820
STEFAN_BOLTZMANN_MJ_PER_K4_M2_DAY = 4.903e-9
ALBEDO = 0.23
MM_PER_MJ_PER_M2 = 0.408
USUAL_WIND_M_PER_S = 2.0
INLAND_K_RS = 0.16


class Method(StrEnum):
    """How a day's reference was found, as people read it."""

    PENMAN_MONTEITH = "Penman-Monteith"
    FILLED_IN = "Penman-Monteith with missing values filled in"
    HARGREAVES = "Hargreaves, from temperatures alone"


@dataclass(frozen=True, slots=True)
class Reference:
    """mm: reference evapotranspiration of the day, millimetres."""

    mm: float
    method: Method


def reference_mm(weather: DayWeather, latitude_deg: float, elevation_m: float, day_of_year: int) -> Reference:
    """Penman-Monteith where humidity, wind and radiation are known; Hargreaves where none of them is.

    Where some are: the dew point at the lowest temperature (48), radiation from the range (50), wind 2 m/s: the
    paper's own advice for missing data.
    """
    known = (weather.rh_min_percent, weather.wind_m_per_s, weather.radiation_mj_per_m2)
    extraterrestrial = extraterrestrial_mj_per_m2(latitude_deg, day_of_year)
    if all(value is None for value in known):
        return Reference(hargreaves_mm(weather, extraterrestrial), Method.HARGREAVES)
    radiation = weather.radiation_mj_per_m2
    if radiation is None:
        radiation = radiation_of_temperature(weather.t_max_c, weather.t_min_c, extraterrestrial)
    wind = USUAL_WIND_M_PER_S if weather.wind_m_per_s is None else weather.wind_m_per_s
    vapour = vapour_kpa(weather)
    clear = clear_sky_mj_per_m2(extraterrestrial, elevation_m)
    net = (1 - ALBEDO) * radiation - net_longwave_mj_per_m2(weather, vapour, _share_of_clear(radiation, clear))
    mm = penman_monteith_mm(weather, net, vapour, wind, elevation_m)
    return Reference(max(0.0, mm), Method.FILLED_IN if None in known else Method.PENMAN_MONTEITH)


def penman_monteith_mm(
    weather: DayWeather,
    net_mj_per_m2: float,
    vapour: float,
    wind_m_per_s: float,
    elevation_m: float,
    soil_heat_mj_per_m2: float = 0.0,
) -> float:
    """(6), millimetres of a day. vapour: actual vapour pressure, kPa."""
    slope = saturation_slope_kpa_per_c(weather.t_mean_c)
    gamma = psychrometric_kpa_per_c(elevation_m)
    deficit = (saturation_kpa(weather.t_max_c) + saturation_kpa(weather.t_min_c)) / 2 - vapour
    by_radiation = MM_PER_MJ_PER_M2 * slope * (net_mj_per_m2 - soil_heat_mj_per_m2)
    by_wind = gamma * 900 / (weather.t_mean_c + 273) * wind_m_per_s * deficit
    return (by_radiation + by_wind) / (slope + gamma * (1 + 0.34 * wind_m_per_s))


def hargreaves_mm(weather: DayWeather, extraterrestrial_mj: float) -> float:
    """(52), millimetres of a day."""
    range_c = max(0.0, weather.t_max_c - weather.t_min_c)
    return max(0.0, 0.0023 * (weather.t_mean_c + 17.8) * sqrt(range_c) * MM_PER_MJ_PER_M2 * extraterrestrial_mj)


def extraterrestrial_mj_per_m2(latitude_deg: float, day_of_year: int) -> float:
    """(21) to (25): the sun's radiation of a day above the air."""
    latitude, declination = radians(latitude_deg), _declination(day_of_year)
    distance = 1 + 0.033 * cos(2 * pi * day_of_year / 365)
    angle = _sunset_angle(latitude, declination)
    day = angle * sin(latitude) * sin(declination) + cos(latitude) * cos(declination) * sin(angle)
    return 24 * 60 / pi * SOLAR_CONSTANT_MJ_PER_M2_MIN * distance * day


def daylight_h(latitude_deg: float, day_of_year: int) -> float:
    """(34), hours from sunrise to sunset."""
    return 24 / pi * _sunset_angle(radians(latitude_deg), _declination(day_of_year))


def noon_height_rad(latitude_deg: float, day_of_year: int) -> float:
    """The sun's height above the horizon at noon. Source: chapter 9, box 18."""
    latitude, declination = radians(latitude_deg), _declination(day_of_year)
    return asin(sin(latitude) * sin(declination) + cos(latitude) * cos(declination))


def clear_sky_mj_per_m2(extraterrestrial_mj: float, elevation_m: float) -> float:
    """(37)."""
    return (0.75 + 2e-5 * elevation_m) * extraterrestrial_mj


def radiation_of_temperature(
    t_max_c: float, t_min_c: float, extraterrestrial_mj: float, k_rs: float = INLAND_K_RS
) -> float:
    """(50), from the day's range; k_rs 0.16 inland, 0.19 at a coast."""
    return k_rs * sqrt(max(0.0, t_max_c - t_min_c)) * extraterrestrial_mj


def net_longwave_mj_per_m2(weather: DayWeather, vapour: float, share_of_clear: float) -> float:
    """(39); share_of_clear: radiation by that of a clear sky.

    It is held to 0.3 to 1, so that a dark day's clouds do not turn the term around: ASCE-EWRI 2005, equation 18
    (from memory; pyet does the same).
    """
    warm = ((weather.t_max_c + 273.16) ** 4 + (weather.t_min_c + 273.16) ** 4) / 2
    cloud = 1.35 * min(max(share_of_clear, 0.3), 1.0) - 0.35
    return STEFAN_BOLTZMANN_MJ_PER_K4_M2_DAY * warm * (0.34 - 0.14 * sqrt(vapour)) * cloud


def _share_of_clear(radiation_mj: float, clear_mj: float) -> float:
    """None of it in the polar night, where both are zero: `net_longwave_mj_per_m2` takes that for clouds."""
    return radiation_mj / clear_mj if clear_mj > 0 else 0.0


def vapour_kpa(weather: DayWeather) -> float:
    """Actual vapour pressure: (17) from both humidities, (19) from their mean, (48) from the lowest temperature."""
    at_min, at_max = saturation_kpa(weather.t_min_c), saturation_kpa(weather.t_max_c)
    if weather.rh_min_percent is None:
        return at_min
    if weather.rh_max_percent is None:
        return weather.rh_min_percent / 100 * (at_min + at_max) / 2
    return (at_min * weather.rh_max_percent + at_max * weather.rh_min_percent) / 200


def saturation_kpa(celsius: float) -> float:
    """(11)."""
    return 0.6108 * exp(17.27 * celsius / (celsius + 237.3))


def saturation_slope_kpa_per_c(celsius: float) -> float:
    """(13)."""
    return 4098 * saturation_kpa(celsius) / (celsius + 237.3) ** 2


def pressure_kpa(elevation_m: float) -> float:
    """(7)."""
    return float(101.3 * ((293 - 0.0065 * elevation_m) / 293) ** 5.26)


def psychrometric_kpa_per_c(elevation_m: float) -> float:
    """(8)."""
    return 0.665e-3 * pressure_kpa(elevation_m)


def _declination(day_of_year: int) -> float:
    """(24), radians."""
    return 0.409 * sin(2 * pi * day_of_year / 365 - 1.39)


def _sunset_angle(latitude: float, declination: float) -> float:
    """(25), radians; the whole day or none of it where the sun does not set or rise."""
    return acos(min(1.0, max(-1.0, -tan(latitude) * tan(declination))))

"""Units of the trade: inches, °F, pounds on a thousand square feet."""

from mowalert.domain.arrays import Floats

MM_PER_INCH = 25.4
KG_HA_PER_LB_1000SQFT = 0.45359237 / 92.90304 * 10_000


def mm_from_inches(inches: float) -> float:
    """Return millimetres."""
    return inches * MM_PER_INCH


def inches_from_mm(mm: float) -> float:
    """Return inches."""
    return mm / MM_PER_INCH


def f_from_c(celsius: Floats | float) -> Floats | float:
    """Return degrees Fahrenheit."""
    return celsius * 9 / 5 + 32


def c_from_f(fahrenheit: Floats | float) -> Floats | float:
    """Return degrees Celsius."""
    return (fahrenheit - 32) * 5 / 9


def kg_ha_from_lb_1000sqft(pounds: float) -> float:
    """Return kilograms on a hectare."""
    return pounds * KG_HA_PER_LB_1000SQFT

"""Weather cells: places near each other share one."""

from math import floor


def cell_of(latitude_deg: float, longitude_deg: float, *, cell_degrees: float) -> tuple[float, float]:
    """Return the middle of the cell a position lies in.

    Parameters
    ----------
    latitude_deg : float
        South is negative. [°]
    longitude_deg : float
        West is negative. [°]
    cell_degrees : float
        Side of a cell. [°]

    Returns
    -------
    tuple[float, float]
        Latitude and longitude, rounded so that equal cells are equal to the last bit. [°]
    """
    return _middle(latitude_deg, cell_degrees, 90.0), _middle(longitude_deg, cell_degrees, 180.0)


def _middle(degrees: float, side: float, most: float) -> float:
    # A hair more keeps a position on a border, such as 0.3 of sides of 0.1, from falling back.
    index = floor((min(degrees, most) + most) / side + 1e-9)
    last = round(2 * most / side) - 1
    return round((min(index, last) + 0.5) * side - most, 6)

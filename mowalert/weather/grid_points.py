"""The grid point nearest to each place, on grids of rows and columns and on curved ones."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from mowalert.domain.arrays import Floats, Ints
from mowalert.domain.weather import Place
from mowalert.errors import SourceError

EARTH_KM = 6371.0
AROUND_DEG = 1.0
"""Points of a curved grid this far around the places are looked at; no national model is coarser."""


@dataclass(frozen=True, slots=True)
class Points:
    """Where places lie in an array: its dimensions, an index in each, and how far off a point is. [km]"""

    dims: tuple[str, str]
    rows: Ints
    columns: Ints
    off_km: Floats


def nearest_points(latitude: Any, longitude: Any, places: Sequence[Place]) -> Points:
    """Find the grid point nearest to each place.

    Parameters
    ----------
    latitude : Any
        Coordinate of the grid, an ``xarray.DataArray`` of one or two dimensions. [°]
    longitude : Any
        Likewise; counted from -180 or from 0. [°]
    places : Sequence[Place]
        Places, any number.

    Returns
    -------
    Points
        One a place, in order, however far off.

    Raises
    ------
    SourceError
        If the coordinates span no grid.
    """
    at = np.array([(place.latitude_deg, place.longitude_deg) for place in places])
    if latitude.ndim == longitude.ndim == 1 and latitude.dims != longitude.dims:
        dims = (str(latitude.dims[0]), str(longitude.dims[0]))
        rows, columns = _of_axes(_degrees(latitude), _degrees(longitude), at)
        found = np.stack([_degrees(latitude)[rows], _degrees(longitude)[columns]], axis=1)
    elif latitude.ndim == 2 and latitude.dims == longitude.dims:
        dims = (str(latitude.dims[0]), str(latitude.dims[1]))
        grid = np.stack([_degrees(latitude), _degrees(longitude)], axis=-1)
        rows, columns = _of_curved(grid, at)
        found = grid[rows, columns]
    else:
        raise SourceError("latitude and longitude span no grid", permanent=True, source="grid")
    return Points(dims, rows, columns, _apart_km(at, found))


def _degrees(coordinate: Any) -> Floats:
    return np.asarray(coordinate.values, dtype=np.float64)


def _of_axes(latitudes: Floats, longitudes: Floats, at: Floats) -> tuple[Ints, Ints]:
    around = np.abs((longitudes[None, :] - at[:, 1:] + 180) % 360 - 180)
    return np.abs(latitudes[None, :] - at[:, :1]).argmin(axis=1), around.argmin(axis=1)


def _of_curved(grid: Floats, at: Floats) -> tuple[Ints, Ints]:
    from scipy.spatial import cKDTree

    near = _is_near(grid, at)
    rows, columns = np.nonzero(near if near.any() else np.isfinite(grid).all(axis=-1))
    if not len(rows):
        raise SourceError("latitude and longitude are empty", permanent=True, source="grid")
    _, index = cKDTree(_on_sphere(grid[rows, columns])).query(_on_sphere(at))
    return rows[index], columns[index]


def _is_near(grid: Floats, at: Floats) -> Any:
    """Points in a box around all places: a tree of a whole continent takes longer than its use."""
    low, high = at.min(axis=0) - AROUND_DEG, at.max(axis=0) + AROUND_DEG
    middle, half = (low[1] + high[1]) / 2, (high[1] - low[1]) / 2
    # Towards the poles a degree of longitude is short, and a box in degrees too narrow.
    half = half / max(0.05, np.cos(np.radians(np.abs([low[0], high[0]]).max())))
    within = (grid[..., 0] >= low[0]) & (grid[..., 0] <= high[0])
    return within & (np.abs((grid[..., 1] - middle + 180) % 360 - 180) <= half)


def _on_sphere(degrees: Floats) -> Floats:
    latitude, longitude = np.radians(degrees[:, 0]), np.radians(degrees[:, 1])
    across = np.cos(latitude)
    return np.stack([across * np.cos(longitude), across * np.sin(longitude), np.sin(latitude)], axis=1)


def _apart_km(one: Floats, other: Floats) -> Floats:
    chord = np.linalg.norm(_on_sphere(one) - _on_sphere(other), axis=1)
    return np.asarray(2 * EARTH_KM * np.arcsin(np.clip(chord / 2, 0, 1)))

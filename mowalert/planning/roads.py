"""Driving times from a table service on the web, such as one an operator runs on open street data."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from mowalert.domain.arrays import Floats
from mowalert.domain.crews import Position
from mowalert.domain.travel import Travel
from mowalert.errors import SourceError
from mowalert.service.ports import JsonAsker

NAME = "roads"
PLACES_AT_ONCE = 50
"""Sources, and again destinations, of one request: public services take a hundred places."""
LONGEST_MIN = 24 * 60.0


class RoadTable:
    """Asks a table service that speaks the protocol of the Open Source Routing Machine.

    Parameters
    ----------
    http : JsonAsker
        Asks the network.
    url : str
        The service's address, without path.
    """

    def __init__(self, http: JsonAsker, *, url: str) -> None:
        self._http, self._url = http, url.rstrip("/")

    def __call__(self, places: Sequence[Position]) -> Travel:
        """Return the driving between places.

        Parameters
        ----------
        places : Sequence[Position]
            Places; those of one position are asked for once.

        Returns
        -------
        Travel
            Minutes are rounded up.

        Raises
        ------
        SourceError
            If the service cannot be asked, or knows no way between two places.
        """
        known = list(dict.fromkeys(places))
        seconds, metres = (np.zeros((len(known), len(known))) for _ in range(2))
        for rows in _parts(len(known)):
            for columns in _parts(len(known)):
                block = np.ix_(rows, columns)
                seconds[block], metres[block] = self._asked(known, rows, columns)
        at = [known.index(place) for place in places]
        grid = np.ix_(at, at)
        return Travel(np.ceil(seconds[grid] / 60 - 1e-9).astype(np.int64), metres[grid] / 1000)

    def _asked(
        self, places: Sequence[Position], rows: Sequence[int], columns: Sequence[int]
    ) -> tuple[Floats, Floats]:
        wanted = list(dict.fromkeys((*rows, *columns)))
        path = ";".join(f"{places[one].longitude_deg:.6f},{places[one].latitude_deg:.6f}" for one in wanted)
        query = {
            "annotations": "duration,distance",
            "sources": ";".join(str(wanted.index(one)) for one in rows),
            "destinations": ";".join(str(wanted.index(one)) for one in columns),
        }
        status, body = self._http.get_json(NAME, f"{self._url}/table/v1/driving/{path}", query)
        if status != 200 or not isinstance(body, dict) or body.get("code") != "Ok":
            reason = body.get("code") if isinstance(body, dict) else None
            raise SourceError(f"status {status}: {reason}", permanent=status in (400, 401, 403), source=NAME)
        shape = (len(rows), len(columns))
        return _table(body.get("durations"), shape), _table(body.get("distances"), shape)


def _parts(count: int) -> list[list[int]]:
    numbers = list(range(count))
    return [numbers[start : start + PLACES_AT_ONCE] for start in range(0, count, PLACES_AT_ONCE)]


def _table(told: Any, shape: tuple[int, int]) -> Floats:
    try:
        table = np.array(told, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise SourceError("the table cannot be read", permanent=True, source=NAME) from error
    if table.shape != shape:
        raise SourceError(f"a table of {table.shape} came for {shape}", permanent=True, source=NAME)
    if not np.all((table >= 0) & (table < LONGEST_MIN * 60 * 1000)):
        raise SourceError("no way is known between some places", permanent=True, source=NAME)
    return table

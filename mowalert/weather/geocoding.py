"""Places by name, from Open-Meteo's geocoding service (names from GeoNames)."""

from typing import Any

from mowalert.errors import SourceError
from mowalert.service.ports import FoundPlace
from mowalert.weather.http import Asker

NAME = "open_meteo"
MOST = 6
LONGEST_NAME = 100


class OpenMeteoPlaces:
    """Finds places by name.

    Parameters
    ----------
    http : Asker
        Asks the network.
    url : str
        Address of the search.
    """

    def __init__(self, http: Asker, *, url: str) -> None:
        self._http, self._url = http, url

    def find(self, name: str, *, language: str) -> list[FoundPlace]:
        """Return the places most likely meant.

        Parameters
        ----------
        name : str
            What somebody typed.
        language : str
            Of the names that come back.

        Returns
        -------
        list[FoundPlace]
            At most six; none where nothing has that name.

        Raises
        ------
        SourceError
            If the service cannot be asked.
        """
        wanted = " ".join(name.split())[:LONGEST_NAME]
        if len(wanted) < 2:
            return []
        params = {"name": wanted, "count": str(MOST), "language": language, "format": "json"}
        status, body = self._http.get_json(NAME, self._url, params)
        if status != 200 or not isinstance(body, dict):
            raise SourceError(f"status {status}", permanent=status < 500, source=NAME)
        # No match: the key is absent.
        results = body.get("results", [])
        found = [_place(one) for one in results if isinstance(one, dict)] if isinstance(results, list) else []
        return [place for place in found if place is not None][:MOST]


def _place(one: dict[str, Any]) -> FoundPlace | None:
    latitude, longitude, name = one.get("latitude"), one.get("longitude"), one.get("name")
    if not isinstance(latitude, int | float) or not isinstance(longitude, int | float):
        return None
    if not isinstance(name, str) or not -90 <= latitude <= 90 or not -180 <= longitude <= 180:
        return None
    around = [one.get("admin1"), one.get("country")]
    region = ", ".join(part[:80] for part in around if isinstance(part, str) and part)
    return FoundPlace(name[:80], region, float(latitude), float(longitude))

"""US National Weather Service: alerts in force, asked for by the official zones that cells lie in.

By zone and not by point: a hundred cells share a few zones and so a few requests, and an answer to a
point has been seen without its fire zone's alerts. A point's zones come from ``/points``.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from time import monotonic

from mowalert.domain.areas import Patch, touches
from mowalert.domain.warnings import AlertMessage, AreaWarning, PlacedWarning, in_force, replaced
from mowalert.domain.weather import Place, Refusal
from mowalert.errors import SourceError
from mowalert.service.ports import PulledWarnings
from mowalert.weather.alert_json import read_alerts, read_zones
from mowalert.weather.http import Asker
from mowalert.weather.nws import NAME, URL

ZONES_AT_ONCE = 80
ZONES_KEPT = timedelta(days=7)
"""Zones are drawn anew now and then."""
FAULTS_TO_GIVE_UP = 2
PATIENCE_S = 120.0
"""Longest time for finding zones in one pull: a night waits for it."""
TERRITORY = (
    (24.0, 50.0, -125.5, -66.0),
    (51.0, 72.0, -180.0, -129.0),
    (51.0, 54.0, 172.0, 180.0),
    (18.0, 29.0, -179.0, -154.0),
    (17.0, 19.0, -68.0, -64.0),
    (13.0, 21.0, 144.0, 147.0),
    (-15.0, -10.0, -172.0, -168.0),
)
"""Boxes of latitude and longitude around the states and territories, drawn generously. [°]

Elsewhere ``/points`` would say 404, each time anew: such an answer is kept by no cache.
"""


@dataclass(slots=True)
class _Pull:
    """One pull under way."""

    patches: list[Patch] = field(default_factory=list)
    refused: list[tuple[int | None, Refusal]] = field(default_factory=list)
    answered: set[str] = field(default_factory=set)
    messages: list[AlertMessage] = field(default_factory=list)

    def refuse(self, reason: str, cell_id: int | None = None) -> None:
        self.refused.append((cell_id, Refusal(NAME, reason)))


class NwsAlerts:
    """Client of the alerts in force.

    Parameters
    ----------
    http : Asker
        How to ask; with a cache, as the service wants.
    url : str
        Root of the service.
    cell_degrees : float
        Side of a weather cell. [°]
    patience_s : float
        Longest time spent on finding zones in one pull; the cells left over come in the next. [s]
    """

    name = NAME

    def __init__(
        self, http: Asker, *, url: str = URL, cell_degrees: float = 0.1, patience_s: float = PATIENCE_S
    ) -> None:
        self._http = http
        self._url = url.rstrip("/")
        self._half_side_deg = cell_degrees / 2
        self._patience_s = patience_s
        self._zones: dict[tuple[float, float], tuple[datetime, frozenset[str]]] = {}

    def pull(self, places: Sequence[Place], *, now: datetime) -> PulledWarnings:
        """Ask for what is in force at some places; what fails is told and never raised.

        Parameters
        ----------
        places : Sequence[Place]
            Weather cells; those outside the United States are passed over.
        now : datetime
            The moment.

        Returns
        -------
        PulledWarnings
            What is in force, where, and for which cells the service answered.
        """
        pull = _Pull()
        self._find_zones(places, pull, now)
        self._ask(sorted({_zone_id(code) for patch in pull.patches for code in patch.codes}), pull)
        answered = [
            patch
            for patch in pull.patches
            if patch.codes and {_zone_id(code) for code in patch.codes} <= pull.answered
        ]
        placed = (_placed(found, answered) for found in in_force(pull.messages, now=now))
        return PulledWarnings(
            source=NAME,
            answered=tuple(patch.cell_id for patch in answered),
            found=tuple(found for found in placed if found.cell_ids),
            replaced=replaced(pull.messages),
            refused=tuple(pull.refused),
        )

    def _find_zones(self, places: Sequence[Place], pull: _Pull, now: datetime) -> None:
        faults, until = 0, monotonic() + self._patience_s
        for place in filter(_is_american, places):
            if monotonic() > until:
                pull.refuse("finding zones takes too long; the rest comes with the next pull")
                return
            try:
                codes = self._codes(place, now)
            except SourceError as error:
                pull.refuse(f"zones: {error}", place.cell_id)
                faults += 1
                if faults >= FAULTS_TO_GIVE_UP:
                    return
                continue
            position = place.latitude_deg, place.longitude_deg
            pull.patches.append(Patch(place.cell_id, *position, self._half_side_deg, codes))

    def _codes(self, place: Place, now: datetime) -> frozenset[str]:
        """Zones of a place; none where the service knows no such place."""
        position = place.latitude_deg, place.longitude_deg
        asked_at, codes = self._zones.get(position, (None, frozenset()))
        if asked_at is not None and timedelta(0) <= now - asked_at < ZONES_KEPT:
            return codes
        # Coordinates may carry at most four decimals, and no trailing zeros.
        point = ",".join(f"{degrees:.4f}".rstrip("0").rstrip(".") for degrees in position)
        status, body = self._http.get_json(NAME, f"{self._url}/points/{point}")
        if status != 404:
            codes = read_zones(status, body)
        self._zones[position] = now, codes
        return codes

    def _ask(self, zones: Sequence[str], pull: _Pull) -> None:
        for start in range(0, len(zones), ZONES_AT_ONCE):
            batch = zones[start : start + ZONES_AT_ONCE]
            try:
                asked = {"zone": ",".join(batch)}
                status, body = self._http.get_json(NAME, f"{self._url}/alerts/active", asked)
                messages, broken = read_alerts(status, body)
            except SourceError as error:
                pull.refuse(f"alerts: {error}")
                return
            if broken:
                pull.refuse(f"{broken} alerts cannot be read")
            pull.messages += messages
            pull.answered.update(batch)


def _is_american(place: Place) -> bool:
    return any(
        south <= place.latitude_deg <= north and west <= place.longitude_deg <= east
        for south, north, west, east in TERRITORY
    )


def _zone_id(code: str) -> str:
    return code.partition("/")[2]


def _placed(found: AreaWarning, patches: Iterable[Patch]) -> PlacedWarning:
    cells = (patch.cell_id for patch in patches if touches(found.areas, patch))
    return PlacedWarning(found.warning, tuple(cells))

"""Alerts of any authority that publishes them in the Common Alerting Protocol, by the feed's address."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from hashlib import sha256
from time import monotonic
from typing import Protocol
from urllib.parse import urlsplit

from mowalert.domain.areas import Patch, touches
from mowalert.domain.warnings import AlertMessage, AreaWarning, PlacedWarning, in_force, replaced
from mowalert.domain.weather import Place, Refusal
from mowalert.errors import SourceError
from mowalert.service.ports import PulledWarnings
from mowalert.weather.cap import NAME, CapDocument, read_cap

MOST_LINKED = 300
"""Alerts fetched of one feed in one pull, the first it names."""
FAULTS_TO_GIVE_UP = 3
PATIENCE_S = 120.0
"""Longest time for one feed: a night waits for it."""


class Library(Protocol):
    """Where documents come from."""

    def get(self, source: str, url: str) -> bytes:
        """Fetch a document; raises SourceError."""


@dataclass(slots=True)
class _Pull:
    """One pull of a feed under way; what it brings is whole while it has no passing fault."""

    faults: int = 0
    messages: list[AlertMessage] = field(default_factory=list)
    refused: list[Refusal] = field(default_factory=list)

    def refuse(self, reason: str, *, passing: bool) -> None:
        self.refused.append(Refusal(NAME, reason))
        self.faults += passing


class CapFeed:
    """Client of one feed, or of one alert's address.

    Parameters
    ----------
    library : Library
        How to fetch.
    url : str
        The feed's address.
    cell_degrees : float
        Side of a weather cell. [°]
    patience_s : float
        Longest time spent on one pull. [s]
    """

    def __init__(
        self, library: Library, url: str, *, cell_degrees: float = 0.1, patience_s: float = PATIENCE_S
    ) -> None:
        self._library, self._url = library, url
        self._host = _host(url)
        self._half_side_deg = cell_degrees / 2
        self._patience_s = patience_s
        # One host may have many feeds, and an address may hold a key that nobody should read.
        self.name = f"{NAME} {self._host[:80]} {sha256(url.encode()).hexdigest()[:8]}"

    def pull(self, places: Sequence[Place], *, now: datetime) -> PulledWarnings:
        """Ask for what is in force at some places; what fails is told and never raised.

        Parameters
        ----------
        places : Sequence[Place]
            Weather cells.
        now : datetime
            The moment.

        Returns
        -------
        PulledWarnings
            What is in force and where. Warnings whose areas are names or codes only have no cells. After
            a passing fault no cell counts as answered, so that what was known before stays.
        """
        pull = _Pull()
        feed = self._read(self._url, pull, now, page=_open_address(self._url))
        if feed is not None:
            self._follow(feed.links, pull, now)
        patches = [
            Patch(place.cell_id, place.latitude_deg, place.longitude_deg, self._half_side_deg)
            for place in places
        ]
        placed = (_placed(found, patches) for found in in_force(pull.messages, now=now))
        whole = feed is not None and not pull.faults
        return PulledWarnings(
            source=self.name,
            answered=tuple(place.cell_id for place in places) if whole else (),
            found=tuple(found for found in placed if found is not None),
            replaced=replaced(pull.messages),
            refused=tuple((None, refusal) for refusal in dict.fromkeys(pull.refused)),
        )

    def _read(self, url: str, pull: _Pull, now: datetime, *, page: str) -> CapDocument | None:
        try:
            document = read_cap(self._library.get(NAME, url), url=url, page=page, now=now)
        except SourceError as error:
            pull.refuse(f"{self._host}: {error}", passing=not error.permanent)
            return None
        if document.broken:
            pull.refuse(f"{self._host}: {document.broken} alerts cannot be read", passing=False)
        pull.messages += document.messages
        return document

    def _follow(self, links: Sequence[str], pull: _Pull, now: datetime) -> None:
        """Fetch the alerts a feed links to, on its own host only: a feed must not send us elsewhere."""
        own = [link for link in links if _host(link) == self._host]
        if len(own) < len(links):
            pull.refuse(f"{self._host}: {len(links) - len(own)} links lead to another host", passing=False)
        if len(own) > MOST_LINKED:
            pull.refuse(f"{self._host}: links to {len(own)} alerts", passing=True)
        until = monotonic() + self._patience_s
        for link in own[:MOST_LINKED]:
            if monotonic() > until or pull.faults >= FAULTS_TO_GIVE_UP:
                pull.refuse(f"{self._host}: takes too long or fails too often", passing=True)
                return
            self._read(link, pull, now, page=link)


def _host(url: str) -> str:
    return urlsplit(url).netloc.rpartition("@")[2].casefold()


def _open_address(url: str) -> str:
    """An address as it may be shown: with a key or a password in it, nothing."""
    parts = urlsplit(url)
    return "" if parts.query or "@" in parts.netloc else url


def _placed(found: AreaWarning, patches: Iterable[Patch]) -> PlacedWarning | None:
    """A warning with its cells; none if it surely touches no cell."""
    answers = [(patch.cell_id, touches(found.areas, patch)) for patch in patches]
    cells = tuple(cell_id for cell_id, answer in answers if answer)
    unknown = all(answer is None for _, answer in answers)
    return PlacedWarning(found.warning, cells) if cells or unknown else None

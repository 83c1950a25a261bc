"""One way to ask a weather service: polite, bounded in time and size, and suspicious of what comes back."""

import sqlite3
from collections.abc import Mapping
from contextlib import closing
from functools import cached_property
from pathlib import Path
from typing import Any, NoReturn, Protocol
from urllib.parse import urlsplit, urlunsplit

import orjson
import requests
from requests_cache import EXPIRE_IMMEDIATELY, CachedSession
from urllib3 import Retry
from urllib3.exceptions import HTTPError

from mowalert import __version__
from mowalert.errors import SourceError
from mowalert.weather.bounded import LARGEST_BODY, LONGEST_READ_S, BoundedAdapter, TooLarge


class Asker(Protocol):
    """What a client needs of the network."""

    def get_json(self, source: str, url: str, params: Mapping[str, str] | None = None) -> tuple[int, Any]:
        """Ask; return status and parsed body."""


class Http:
    """Asks over HTTP with retries, an identifying User-Agent and, where asked for, a cache.

    Parameters
    ----------
    contact : str
        Address or site that identifies the operator.
    timeout_s : float
        For connecting, and again for each read.
    cache : Path | None
        File of the cache that honours ``Expires`` and asks again with ``If-Modified-Since``.
    tries : int
        Attempts for a passing fault.
    backoff_s : float
        First wait between attempts; it doubles.
    within_s : float
        For a whole answer, however steadily it drips.
    """

    most = LARGEST_BODY

    def __init__(
        self,
        *,
        contact: str,
        timeout_s: float = 20.0,
        cache: Path | None = None,
        tries: int = 3,
        backoff_s: float = 0.5,
        within_s: float = LONGEST_READ_S,
    ) -> None:
        self._timeout_s, self._cache = timeout_s, cache
        self._headers = {
            "User-Agent": f"mowalert/{__version__} ({contact or 'no contact set'})",
            "Accept": "application/geo+json, application/json",
        }
        retry = Retry(
            total=tries - 1,
            backoff_factor=backoff_s,
            backoff_max=8,
            status_forcelist=(500, 502, 503, 504),
            # A service that says how long to wait may say an hour; the next source is asked instead.
            respect_retry_after_header=False,
            raise_on_status=False,
        )
        self._adapter = BoundedAdapter(most=self.most, within_s=within_s, max_retries=retry)

    @cached_property
    def _session(self) -> requests.Session:
        session = _session(self._cache)
        session.headers.update(self._headers)
        for scheme in ("http://", "https://"):
            session.mount(scheme, self._adapter)
        return session

    def get_json(self, source: str, url: str, params: Mapping[str, str] | None = None) -> tuple[int, Any]:
        """Ask for JSON.

        Parameters
        ----------
        source : str
            Name of the source, for errors.
        url : str
            Address without query.
        params : Mapping[str, str] | None
            The query.

        Returns
        -------
        tuple[int, Any]
            Status and body; 4xx and 5xx come back too when their body is JSON.

        Raises
        ------
        SourceError
            If nothing came in time, or what came is no JSON.
        """
        try:
            if self._cache:
                _try_to_write(self._cache)
            answer = self._session.get(url, params=params, timeout=self._timeout_s, allow_redirects=False)
            answer = self._followed(source, url, answer)
        # An address may be such that it only fails when it is looked up.
        except (requests.RequestException, HTTPError, ValueError) as error:
            raise unheard(source, error) from error
        # Whoever wants to be asked no sooner than they said is not asked without what remembers it.
        except (OSError, sqlite3.Error) as error:
            raise SourceError(f"the cache cannot be used: {error}", permanent=False, source=source) from error
        return answer.status_code, _parsed(source, answer)

    def _followed(self, source: str, url: str, answer: requests.Response) -> requests.Response:
        """Follow one redirect, to the same host only."""
        if not answer.is_redirect:
            return answer
        target = requests.compat.urljoin(url, answer.headers["Location"])
        if urlsplit(target)[:2] != urlsplit(url)[:2]:
            raise SourceError("redirected to another host", permanent=True, source=source)
        return self._session.get(target, timeout=self._timeout_s, allow_redirects=False)


def _session(cache: Path | None) -> requests.Session:
    if cache is None:
        return requests.Session()
    return CachedSession(
        str(cache),
        backend="sqlite",
        cache_control=True,
        # Only what a service itself lets live is reused; the rest is asked again, conditionally.
        expire_after=EXPIRE_IMMEDIATELY,
        allowable_codes=(200, 203),
    )


def _try_to_write(cache: Path) -> None:
    """Raise where a cache cannot be written: the library would wait for it without end."""
    cache.parent.mkdir(parents=True, exist_ok=True)
    with closing(sqlite3.connect(cache, isolation_level=None)) as tried:
        tried.execute("BEGIN IMMEDIATE")
        tried.execute("ROLLBACK")


def unheard(source: str, error: Exception) -> SourceError:
    """Say that nothing usable came, and whether asking again can help."""
    if isinstance(error, TooLarge):
        return SourceError(str(error), permanent=True, source=source)
    return SourceError(type(error).__name__, permanent=False, source=source)


def _parsed(source: str, answer: requests.Response) -> Any:
    """Parse strictly: HTML, a truncated text and NaN are no JSON."""
    try:
        return orjson.loads(answer.content)
    except orjson.JSONDecodeError as error:
        _refuse(source, answer.status_code, answer.content, error)


def _refuse(source: str, status: int, body: bytes, error: Exception) -> NoReturn:
    kind = "HTML" if body.lstrip()[:1] == b"<" else "no JSON"
    permanent = status in (400, 401, 403, 404)
    raise SourceError(f"status {status}, {kind}", permanent=permanent, source=source) from error


def with_path(url: str, usual_path: str) -> str:
    """Give a bare host the service's usual path; any other address is used as it is."""
    parts = urlsplit(url)
    if parts.path in ("", "/"):
        return urlunsplit(parts._replace(path=usual_path))
    return url.rstrip("/")

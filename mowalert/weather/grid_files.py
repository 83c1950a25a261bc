"""Files of a gridded model: fetched where they lie at an address, opened, and refused once they are old."""

import os
import warnings
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime, parsedate_to_datetime
from hashlib import sha256
from pathlib import Path
from tempfile import NamedTemporaryFile
from time import monotonic
from typing import Any
from urllib.parse import urlsplit

import requests

from mowalert import __version__
from mowalert.errors import SourceError
from mowalert.weather.days import UNREADABLE
from mowalert.weather.grid_fields import NAME, fault, run_of

GRIB = (".grib", ".grib2", ".grb", ".grb2")
ASKED_AGAIN_AFTER = timedelta(minutes=15)
LARGEST = 16 * 1024**3
LONGEST_S = 1200.0
"""For a whole file, less than a shard may take. Working value."""
PIECE = 1024 * 1024


class GridFiles:
    """Files by path or address.

    Parameters
    ----------
    places : Sequence[str]
        Paths, or addresses that begin with http.
    folder : Path
        Where files from addresses are kept.
    contact : str
        Identifies the operator.
    timeout_s : float
        For connecting, and again for each read.
    max_age : timedelta
        Older runs are refused.
    """

    def __init__(
        self, places: Sequence[str], *, folder: Path, contact: str, timeout_s: float, max_age: timedelta
    ) -> None:
        self._places, self._folder, self._max_age = places, folder, max_age
        self._timeout_s = timeout_s
        self._agent = f"mowalert/{__version__} ({contact or 'no contact set'})"

    @contextmanager
    def opened(self, now: datetime) -> Iterator[list[Any]]:
        """Open every file, fetching those that are not here or have changed; ``xarray.Dataset`` objects."""
        with ExitStack() as stack:
            datasets: list[Any] = []
            for place in self._places:
                path = self._fetched(place, now) if place.startswith(("http://", "https://")) else Path(place)
                found = [stack.enter_context(one) for one in _opened(path)]
                self._refuse_old(path, found, now)
                datasets += found
            yield datasets

    def _refuse_old(self, path: Path, datasets: Sequence[Any], now: datetime) -> None:
        runs = [run for one in datasets if (run := run_of(one.coords.values())) is not None]
        made = (
            datetime.fromtimestamp(int(min(runs).astype("datetime64[s]").astype(int)), UTC)
            if runs
            else datetime.fromtimestamp(path.stat().st_mtime, UTC)
        )
        if now - made > self._max_age:
            age_h = (now - made) / timedelta(hours=1)
            fault(f"{path.name} is of {made:%Y-%m-%d %H:%M} UTC, {age_h:.0f} h old")

    def _fetched(self, url: str, now: datetime) -> Path:
        """Where a file of an address lies; what cannot be fetched anew is used until it is too old."""
        ending = Path(urlsplit(url).path).suffix
        path = self._folder / f"{sha256(url.encode()).hexdigest()[:16]}{ending}"
        asked = path.with_suffix(f"{ending}.asked")
        if path.exists() and asked.exists():
            since = now.timestamp() - float(asked.read_text() or 0)
            if 0 <= since < ASKED_AGAIN_AFTER.total_seconds():
                return path
        self._folder.mkdir(parents=True, exist_ok=True)
        try:
            self._fetch(url, path)
            asked.write_text(str(now.timestamp()))
        except (requests.RequestException, SourceError) as error:
            if path.exists():
                return path
            if isinstance(error, SourceError):
                raise
            raise SourceError(type(error).__name__, permanent=False, source=NAME) from error
        return path

    def _fetch(self, url: str, path: Path) -> None:
        headers = {"User-Agent": self._agent}
        if path.exists():
            made = datetime.fromtimestamp(path.stat().st_mtime, UTC)
            headers["If-Modified-Since"] = format_datetime(made, usegmt=True)
        asked = requests.get(
            url, headers=headers, timeout=self._timeout_s, stream=True, allow_redirects=False
        )
        with asked as answer:
            if answer.status_code == 304:
                return
            if answer.status_code != 200:
                raise SourceError(f"status {answer.status_code}", permanent=False, source=NAME)
            # Another worker may fetch it too: whoever is last replaces a whole file by the same whole file.
            with NamedTemporaryFile(dir=path.parent, delete=False) as part:
                try:
                    _copy(answer, part)
                except BaseException:
                    Path(part.name).unlink()
                    raise
            Path(part.name).replace(path)
            if said := answer.headers.get("Last-Modified"):
                made_s = parsedate_to_datetime(said).timestamp()
                os.utime(path, (made_s, made_s))


def _copy(answer: requests.Response, into: Any) -> None:
    until, size = monotonic() + LONGEST_S, 0
    for piece in answer.iter_content(PIECE):
        size += len(piece)
        if size > LARGEST or monotonic() > until:
            fault("the file is too large, or too slow to come")
        into.write(piece)
    promised = answer.headers.get("Content-Length")
    if promised and "Content-Encoding" not in answer.headers and size != int(promised):
        raise requests.ConnectionError("the file was cut short")


def _opened(path: Path) -> list[Any]:
    """Open a file; one of GRIB messages is several datasets, by level and kind of step."""
    import xarray

    if not path.exists():
        fault(f"there is no file {path}")
    try:
        with warnings.catch_warnings():
            # Of libraries about each other; what is wrong with a file is an error here.
            warnings.simplefilter("ignore")
            if path.suffix in GRIB:
                return _opened_grib(path)
            return [xarray.open_dataset(path, engine="netcdf4", decode_timedelta=False, cache=False)]
    except (*UNREADABLE, OSError, RuntimeError) as error:
        if isinstance(error, SourceError):
            raise
        raise SourceError(
            f"{path.name} cannot be read: {error}"[:300], permanent=True, source=NAME
        ) from error


def _opened_grib(path: Path) -> list[Any]:
    try:
        import cfgrib
    except (ImportError, RuntimeError) as error:
        raise SourceError("GRIB needs the extra `grib`", permanent=True, source=NAME) from error
    return list(cfgrib.open_datasets(str(path), cache=False))

"""Fetching whole documents by address: bounded in size, and not led to another host."""

import requests
from urllib3.exceptions import HTTPError

from mowalert.errors import SourceError
from mowalert.weather.http import Http, unheard
from mowalert.weather.safe_xml import LARGEST

ACCEPT = "application/cap+xml, application/atom+xml, application/rss+xml, application/xml, text/xml"
WORTH_ANOTHER_TRY = frozenset({408, 425, 429})


class Documents(Http):
    """Fetches documents as they are, with the same manners as for JSON."""

    most = LARGEST

    def get(self, source: str, url: str) -> bytes:
        """Fetch a document.

        Parameters
        ----------
        source : str
            Name of the source, for errors.
        url : str
            Its address.

        Returns
        -------
        bytes
            What came with status 200, at most ``LARGEST`` bytes.

        Raises
        ------
        SourceError
            If nothing came in time, or what came is no document or too large.
        """
        try:
            answer = self._session.get(
                url, timeout=self._timeout_s, allow_redirects=False, headers={"Accept": ACCEPT}
            )
            return _checked(source, self._followed(source, url, answer))
        except (requests.RequestException, HTTPError, ValueError) as error:
            raise unheard(source, error) from error


def _checked(source: str, answer: requests.Response) -> bytes:
    if answer.status_code != 200:
        gone = 400 <= answer.status_code < 500 and answer.status_code not in WORTH_ANOTHER_TRY
        raise SourceError(f"status {answer.status_code}", permanent=gone, source=source)
    return answer.content

"""Reading answers of strangers: whole, but never more than fits, and never for longer than is bearable."""

from collections.abc import Iterator
from io import BytesIO
from time import monotonic
from typing import Any

import requests
from requests.adapters import HTTPAdapter
from urllib3 import BaseHTTPResponse, HTTPResponse
from urllib3.exceptions import HTTPError

LARGEST_BODY = 64 * 1024 * 1024
LONGEST_READ_S = 120.0
"""For a whole body: a timeout of each read alone is never reached by one that drips. Working value."""
PIECE = 64 * 1024
NO_LONGER_TRUE = ("content-encoding", "content-length", "transfer-encoding")
"""Headers of a body that has been read and decoded."""


class TooLarge(requests.RequestException):
    """A body, as sent or as unpacked, is larger than is read."""


class TooSlow(requests.RequestException):
    """A body did not end in time, though bytes kept coming."""


class BoundedAdapter(HTTPAdapter):
    """Reads each answer before anybody else does, a cache too.

    Parameters
    ----------
    most : int
        Largest body, as sent and as unpacked. [bytes]
    within_s : float
        Longest time for reading it. [s]
    **options : Any
        Of the adapter of ``requests``.
    """

    def __init__(self, *, most: int = LARGEST_BODY, within_s: float = LONGEST_READ_S, **options: Any) -> None:
        self._most, self._within_s = most, within_s
        super().__init__(**options)

    def build_response(self, req: requests.PreparedRequest, resp: BaseHTTPResponse) -> requests.Response:
        """Return the answer with its body at hand.

        Parameters
        ----------
        req : requests.PreparedRequest
            What was asked.
        resp : BaseHTTPResponse
            What began to come.

        Returns
        -------
        requests.Response
            Whose body no longer comes from the network.

        Raises
        ------
        requests.RequestException
            If the body is too large, too slow, cut short or cannot be unpacked.
        """
        try:
            body = self._unpacked(resp, b"".join(self._sent(resp)))
        except HTTPError as error:
            raise requests.ConnectionError(type(error).__name__, request=req) from error
        finally:
            resp.close()
        return super().build_response(req, _at_hand(resp, body))

    def _sent(self, answer: BaseHTTPResponse) -> Iterator[bytes]:
        """Bytes as they come, each as soon as it is there."""
        until, size = monotonic() + self._within_s, 0
        while piece := answer.read1(PIECE, decode_content=False):
            size += len(piece)
            if size > self._most:
                raise TooLarge("the answer is too large")
            if monotonic() > until:
                raise TooSlow("the answer does not end")
            yield piece

    def _unpacked(self, answer: BaseHTTPResponse, sent: bytes) -> bytes:
        """The body without its content encoding; a small one may unpack to gigabytes."""
        packed = HTTPResponse(BytesIO(sent), headers=answer.headers, preload_content=False)
        pieces, size = [], 0
        while piece := packed.read(PIECE, decode_content=True):
            size += len(piece)
            if size > self._most:
                raise TooLarge("the answer is too large")
            pieces.append(piece)
        return b"".join(pieces)


def _at_hand(answer: BaseHTTPResponse, body: bytes) -> HTTPResponse:
    headers = {name: text for name, text in answer.headers.items() if name.casefold() not in NO_LONGER_TRUE}
    return HTTPResponse(
        BytesIO(body),
        headers=headers,
        status=answer.status,
        version=answer.version,
        reason=answer.reason,
        preload_content=False,
        original_response=getattr(answer, "_original_response", None),
        retries=answer.retries,
        request_url=answer.url,
    )

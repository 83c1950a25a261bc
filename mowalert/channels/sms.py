"""Short messages: any HTTP gateway by its settings, an apprise address, or a folder."""

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import requests

from mowalert.channels.email import write_whole
from mowalert.domain.notices import OutgoingMessage
from mowalert.domain.words import Channel
from mowalert.errors import ConfigError, DeliveryError

TIMEOUT_S = 20.0


class HttpSms:
    """Sends through a gateway that is told by settings.

    Parameters
    ----------
    url : str
        The gateway.
    method : str
        ``POST`` a form, ``POST-JSON``, or ``GET``.
    fields : Mapping[str, str]
        Fields with ``{to}``, ``{text}`` and ``{id}`` filled in.
    success_pattern : str
        What the answer must hold to count as taken; empty for any 2xx.
    timeout_s : float
        For connecting, and for the answer.
    """

    channel = Channel.SMS

    def __init__(
        self,
        url: str,
        *,
        method: str = "POST",
        fields: Mapping[str, str],
        success_pattern: str = "",
        timeout_s: float = TIMEOUT_S,
    ) -> None:
        self._url, self._method, self._fields = url, method, fields
        self._success = re.compile(success_pattern)
        self._timeout_s = timeout_s
        self._session = requests.Session()

    def send(self, message: OutgoingMessage) -> None:
        """Send one text; DeliveryError tells whether its fate is known."""
        try:
            answer = self._session.request(
                "GET" if self._method == "GET" else "POST",
                self._url,
                timeout=self._timeout_s,
                allow_redirects=False,
                **self._body(message),
            )
        except requests.ConnectTimeout as error:
            raise _failed("no connection", permanent=False) from error
        except requests.ConnectionError as error:
            # Only a connection that was never made is sure to have sent nothing.
            unsent = "refused" in str(error).casefold() or "resolve" in str(error).casefold()
            raise _failed("no connection", permanent=False, fate_known=unsent) from error
        except requests.RequestException as error:
            raise _failed(type(error).__name__, permanent=False, fate_known=False) from error
        self._judge(answer)

    def _body(self, message: OutgoingMessage) -> dict[str, Any]:
        known = {"{to}": message.address, "{text}": message.text, "{id}": str(message.message_id)}
        values = {name: _filled(pattern, known) for name, pattern in self._fields.items()}
        kind = {"GET": "params", "POST-JSON": "json"}.get(self._method, "data")
        return {kind: values}

    def _judge(self, answer: requests.Response) -> None:
        status = answer.status_code
        if 200 <= status < 300:
            if not self._success.search(answer.text):
                raise _failed("the gateway's answer is no success", permanent=True, code=str(status))
            return
        passing = status == 429 or status >= 500
        raise _failed(f"status {status}", permanent=not passing, code=str(status))

    def close(self) -> None:
        """Let go of the connection."""
        self._session.close()


def _filled(pattern: str, known: Mapping[str, str]) -> str:
    # One pass, so that a text that holds "{to}" stays as it is.
    return re.sub(r"\{(?:to|text|id)\}", lambda found: known[found[0]], pattern)


def _failed(reason: str, *, permanent: bool, code: str = "", fate_known: bool = True) -> DeliveryError:
    return DeliveryError(reason, permanent=permanent, channel=Channel.SMS, code=code, fate_known=fate_known)


class AppriseSms:
    """Sends through one of the gateways of the apprise library, by its address.

    Parameters
    ----------
    url : str
        An apprise address with ``{to}`` where the number goes.
    """

    channel = Channel.SMS

    def __init__(self, url: str) -> None:
        try:
            import apprise
        except ImportError as error:
            raise ConfigError("sms.url: this address needs the library apprise: install it") from error
        self._apprise, self._url = apprise, url

    def send(self, message: OutgoingMessage) -> None:
        """Send one text; the library does not tell why one failed, so its fate is not known."""
        gateway = self._apprise.Apprise()
        if not gateway.add(self._url.replace("{to}", message.address.lstrip("+"))):
            raise _failed("the gateway's address cannot be used", permanent=True)
        if not gateway.notify(body=message.text):
            raise _failed("the gateway did not take it", permanent=False, fate_known=False)

    def close(self) -> None:
        """Nothing to let go of."""


class FileSms:
    """Writes texts into a folder instead of sending them.

    Parameters
    ----------
    folder : Path
        Made if it is not there.
    """

    channel = Channel.SMS

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def send(self, message: OutgoingMessage) -> None:
        """Write one text; the same message again overwrites itself."""
        name = f"{message.created_at:%Y%m%d}-{message.message_id:06d}.txt"
        text = f"{message.address}\n{message.text}\n"
        write_whole(self._folder / name, text.encode(), channel=self.channel)

    def close(self) -> None:
        """Nothing to let go of."""


def sms_gateway(
    url: str, *, method: str, fields: Mapping[str, str], success_pattern: str
) -> HttpSms | AppriseSms:
    """Return the gateway an address stands for: HTTP, or one of apprise's."""
    if urlsplit(url).scheme in ("http", "https"):
        return HttpSms(url, method=method, fields=fields, success_pattern=success_pattern)
    return AppriseSms(url)

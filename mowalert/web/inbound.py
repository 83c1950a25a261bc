"""What a text gateway posts: whether it is signed by somebody who knows the secret, and what it holds."""

import hmac
from collections.abc import Mapping
from hashlib import sha256
from re import fullmatch
from typing import Any
from urllib.parse import parse_qsl

import orjson

from mowalert.service.reading.addresses import phone_in
from mowalert.service.sending.replies import InboundText
from mowalert.settings import SmsSettings

MOST_FIELDS = 100
LONGEST_NUMBER = 40


def is_signed(raw: bytes, signature: str, secret: str) -> bool:
    """Whether a body comes with its HMAC-SHA256, in hex.

    Parameters
    ----------
    raw : bytes
        The body as it came.
    signature : str
        What the header says.
    secret : str
        What we share with the gateway.

    Returns
    -------
    bool
        Compared in constant time: how long it takes gives nothing away.
    """
    expected = hmac.new(secret.encode(), raw, sha256).hexdigest()
    # As bytes: of text, only ASCII can be compared.
    return hmac.compare_digest(signature.strip().casefold().encode(), expected.encode())


def read_inbound(raw: bytes, content_type: str, chosen: SmsSettings) -> InboundText | None:
    """Read a text out of a form or JSON.

    Parameters
    ----------
    raw : bytes
        The body.
    content_type : str
        What it is said to be; a form if it is not said to be JSON.
    chosen : SmsSettings
        How the gateway names its fields.

    Returns
    -------
    InboundText | None
        The text; none where a field is missing or is no text.
    """
    kind = content_type.partition(";")[0].strip().casefold()
    fields = _json(raw) if kind.endswith("json") else _form(raw)
    names = chosen.inbound_id_field, chosen.inbound_from_field, chosen.inbound_text_field
    gateway_id, sender, text = (_field(fields, name) for name in names)
    if not gateway_id or sender is None or text is None:
        return None
    return InboundText(storable(gateway_id), as_e164(sender), text)


def as_e164(sender: str) -> str:
    """Return a phone number as we keep it; empty for a sender that is none, such as a name.

    Parameters
    ----------
    sender : str
        As the gateway says it: with its country code, with or without a plus sign.

    Returns
    -------
    str
        Such as ``+15555550101``.
    """
    digits = sender[:LONGEST_NUMBER].strip().removeprefix("+").removeprefix("00")
    return phone_in(f"+{digits}", None) or ""


def storable(gateway_id: str) -> str:
    """Return a gateway's number as the store can keep it: itself, or a digest of one of another shape."""
    if fullmatch(r"[!-~]{1,100}", gateway_id):
        return gateway_id
    return sha256(gateway_id.encode("utf-8", "surrogatepass")).hexdigest()


def _json(raw: bytes) -> Any:
    try:
        return orjson.loads(raw)
    except orjson.JSONDecodeError:
        return None


def _form(raw: bytes) -> dict[str, str]:
    try:
        pairs = parse_qsl(raw.decode("utf-8", "replace"), keep_blank_values=True, max_num_fields=MOST_FIELDS)
    except ValueError:
        return {}
    return dict(pairs)


def _field(fields: Any, name: str) -> str | None:
    """A field's text; ``data.from`` is ``from`` inside ``data``, unless a field has just that name."""
    value = fields
    for part in [name] if isinstance(fields, Mapping) and name in fields else name.split("."):
        value = value.get(part) if isinstance(value, Mapping) else None
    if isinstance(value, int) and not isinstance(value, bool):
        return str(value)
    return value if isinstance(value, str) else None

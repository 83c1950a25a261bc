"""Signed links: opaque, hard to forge, for one purpose each; where they expire, the day is signed too."""

from binascii import b2a_base64
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from hashlib import sha256
from hmac import digest as hmac_digest
from hmac import new as hmac

import orjson
from itsdangerous import BadSignature, URLSafeSerializer

UNSUBSCRIBE = "unsubscribe"
PAGE = "page"
"""A keeper's own pages."""
MOWED = "mowed"
"""One tap that records one lawn's advised cut."""
CONFIRM = "confirm"
CALENDAR = "calendar"
WORK = "work"
"""The pages of a contact of an organisation: lists, hand-outs, visits."""
CONTACT_STOP = "contact stop"
RECORD = "client record"
"""One property's season, for the company's client: nothing else, and nothing can be said there."""
FORM = "form"
"""Proof that a form was served by us, for this action, lately."""
PAGE_DAYS, TAP_DAYS, CONFIRM_DAYS = 400, 30, 3
FORM_LASTS = timedelta(hours=12)
SHORT_LETTERS = 40
"""Facts as short as this are not compressed: numbers gain nothing by it, and it costs more than signing."""
URL_SAFE = bytes.maketrans(b"+/", b"-_")


class Tokens:
    """Writes and reads signed facts of one purpose.

    Parameters
    ----------
    secret : str
        Signs them.
    purpose : str
        A token for another is none.
    """

    def __init__(self, secret: str, purpose: str) -> None:
        self._serializer = URLSafeSerializer(secret, salt=purpose)
        self._key = self._serializer.make_signer().derive_key()

    def signed(self, facts: object) -> str:
        """Return the token of some facts, as the library signs them; it would derive the key every time."""
        said = orjson.dumps(facts)
        payload = _base64(said) if len(said) <= SHORT_LETTERS else self._serializer.dump_payload(facts)
        return (payload + b"." + _base64(hmac_digest(self._key, payload, "sha1"))).decode()

    def read(self, token: str) -> object:
        """Return the facts of a token; none where it was altered or made for another purpose."""
        try:
            loaded: object = self._serializer.loads(token)
        except (BadSignature, ValueError):
            return None
        return loaded


def _base64(raw: bytes) -> bytes:
    return b2a_base64(raw, newline=False).translate(URL_SAFE).rstrip(b"=")


@lru_cache(maxsize=64)
def _tokens(secret: str, purpose: str) -> Tokens:
    return Tokens(secret, purpose)


class Links:
    """Makes and reads links of one service.

    Parameters
    ----------
    base_url : str
        Public address of the pages; empty for none.
    secret : str
        Signs every link.
    """

    def __init__(self, base_url: str, secret: str) -> None:
        self._base_url, self._secret = base_url, secret

    @property
    def base_url(self) -> str:
        """Public address of the pages; empty for none."""
        return self._base_url

    def unsubscribe_url(self, keeper_id: int) -> str:
        """Return the address at which one keeper stops e-mail with one click; empty without pages.

        It never expires: the last mail somebody kept must still be able to stop the next.
        """
        if not self._base_url.startswith("https://"):
            return ""
        return f"{self._base_url}/stop/{_tokens(self._secret, UNSUBSCRIBE).signed(keeper_id)}"

    def page_url(self, keeper_id: int, version: int, *, now: datetime) -> str:
        """Return the address of a keeper's own pages; empty without pages."""
        return self._base_url and self._base_url + self.page_path(keeper_id, version, now=now)

    def page_path(self, keeper_id: int, version: int, *, now: datetime) -> str:
        """Return the way to a keeper's own pages within the site."""
        return f"/my/{self.token(PAGE, keeper_id, version, until=now + timedelta(days=PAGE_DAYS))}"

    def mowed_url(self, lawn_id: int, on: date, *, now: datetime) -> str:
        """Return the address of the button that records a lawn's cut of a day; empty without pages."""
        until = now + timedelta(days=TAP_DAYS)
        return self._url("did", self.token(MOWED, lawn_id, on.toordinal(), until=until))

    def confirm_url(self, signup_id: int, *, now: datetime) -> str:
        """Return the address at which a sign-up is confirmed; empty without pages."""
        return self._url("confirm", self.token(CONFIRM, signup_id, until=now + timedelta(days=CONFIRM_DAYS)))

    def calendar_url(self, keeper_id: int, version: int) -> str:
        """Return the address of a keeper's calendar feed; empty without pages.

        It lasts until the keeper asks for new links: calendars are subscribed to for years.
        """
        token = self.token(CALENDAR, keeper_id, version)
        return self._url("calendar", f"{token}.ics")

    def work_url(self, contact_id: int, version: int, *, now: datetime) -> str:
        """Return the address of a contact's pages: today's list, hand-outs, visits; empty without pages."""
        return self._url("work", self.token(WORK, contact_id, version, until=now + timedelta(days=PAGE_DAYS)))

    def record_url(self, site_id: int, version: int, first: date, *, now: datetime) -> str:
        """Return the address of a property's record from a day on; empty without pages."""
        until = now + timedelta(days=PAGE_DAYS)
        return self._url("record", self.token(RECORD, site_id, version, first.toordinal(), until=until))

    def contact_stop_url(self, contact_id: int) -> str:
        """Return the address at which a contact stops e-mail with one click; empty without pages."""
        if not self._base_url.startswith("https://"):
            return ""
        return f"{self._base_url}/stop-work/{_tokens(self._secret, CONTACT_STOP).signed(contact_id)}"

    def token(self, purpose: str, *facts: int | str, until: datetime | None = None) -> str:
        """Sign some facts for one purpose, until a moment if given."""
        ends = 0 if until is None else int(until.timestamp())
        return _tokens(self._secret, purpose).signed([ends, *facts])

    def facts(self, purpose: str, token: str, *, now: datetime) -> tuple[int | str, ...] | None:
        """Return what a token says; none where it was altered, made for another purpose, or is too old."""
        said = _tokens(self._secret, purpose).read(token)
        if not isinstance(said, list) or not said or not isinstance(said[0], int):
            return None
        ends, *facts = said
        if ends and now > datetime.fromtimestamp(ends, UTC):
            return None
        return tuple(facts) if all(isinstance(fact, int | str) for fact in facts) else None

    def read(self, purpose: str, token: str) -> int | None:
        """Return the keeper a lasting token speaks of; none where it was altered or for another purpose."""
        found = _tokens(self._secret, purpose).read(token)
        return found if isinstance(found, int) else None

    def form_token(self, action: str, *, now: datetime) -> str:
        """Sign a form for one action, for some hours."""
        return self.token(FORM, action, until=now + FORM_LASTS)

    def is_our_form(self, token: str, action: str, *, now: datetime) -> bool:
        """Whether a form was served by us for this action, lately."""
        return self.facts(FORM, token, now=now) == (action,)

    def mark(self, what: str) -> str:
        """Return a one-way mark of an address or a sender, of no use without our secret."""
        return hmac(self._secret.encode(), what.strip().casefold().encode(), sha256).hexdigest()

    def _url(self, *parts: str) -> str:
        return "/".join((self._base_url, *parts)) if self._base_url else ""

"""Signed links: opaque, hard to forge, for one purpose each."""

from itsdangerous import BadSignature, URLSafeSerializer

UNSUBSCRIBE = "unsubscribe"


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

    def unsubscribe_url(self, keeper_id: int) -> str:
        """Return the address at which one keeper stops e-mail with one click; empty without pages."""
        if not self._base_url.startswith("https://"):
            return ""
        return f"{self._base_url}/stop/{self._serializer(UNSUBSCRIBE).dumps(keeper_id)}"

    def read(self, purpose: str, token: str) -> int | None:
        """Return the keeper a token speaks of; none where it was altered or made for another purpose."""
        try:
            found = self._serializer(purpose).loads(token)
        except BadSignature:
            return None
        return found if isinstance(found, int) else None

    def _serializer(self, purpose: str) -> URLSafeSerializer:
        return URLSafeSerializer(self._secret, salt=purpose)

"""A calendar feed as programs fetch it, again and again: given whole, or said to be as it was."""

from hashlib import sha256

from fastapi import Request, Response


def feed_answer(request: Request, feed: bytes) -> Response:
    """Answer with a feed, or that it is the state a program has named as known."""
    tag = f'"{sha256(feed).hexdigest()[:32]}"'
    headers = {"ETag": tag, "Cache-Control": "private, no-cache"}
    if _is_known(request.headers.get("if-none-match", ""), tag):
        return Response(status_code=304, headers=headers)
    return Response(feed, headers=headers, media_type="text/calendar; charset=utf-8")


def _is_known(named: str, tag: str) -> bool:
    """Whether a program names this state as known, RFC 9110 section 13.1.2: weakly compared."""
    tags = {one.strip().removeprefix("W/") for one in named.split(",")}
    return tag in tags or "*" in tags

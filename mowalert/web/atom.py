"""An Atom feed of a region's bulletins (RFC 4287), with ids that never change (RFC 4151)."""

import re
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from mowalert.channels.bulletin import cuts_line, growth_line
from mowalert.web.bulletins import ShownBulletin

ATOM, XHTML = "http://www.w3.org/2005/Atom", "http://www.w3.org/1999/xhtml"
SINCE = 2026
"""Year of the tags: one in which the host was ours. It must never change, or every entry is new again."""
NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""What cannot stand in XML 1.0 at all, however it is escaped."""


@dataclass(frozen=True, slots=True)
class FeedHead:
    """What a feed says of itself. ``host`` names it for ever, ``base_url`` is where its pages are."""

    guide_id: str
    title: str
    author: str
    host: str
    base_url: str
    language: str
    generator: str
    empty_since: datetime


def atom_feed(head: FeedHead, entries: Sequence[ShownBulletin]) -> bytes:
    """Write a feed.

    Parameters
    ----------
    head : FeedHead
        Whose feed it is.
    entries : Sequence[ShownBulletin]
        The newest first.

    Returns
    -------
    bytes
        The document, in UTF-8; the same input gives the same bytes.
    """
    page_url = f"{head.base_url}/region/{head.guide_id}"
    feed = ET.Element("feed", {"xmlns": ATOM, "xml:lang": head.language})
    _told(feed, "id", _tag(head, ""))
    _told(feed, "title", head.title)
    _told(feed, "updated", _moment(max((one.changed_at for one in entries), default=head.empty_since)))
    _told(ET.SubElement(feed, "author"), "name", head.author)
    _told(feed, "generator", head.generator)
    asked = f"{page_url}/feed.atom?lang={head.language}"
    ET.SubElement(feed, "link", {"rel": "self", "type": "application/atom+xml", "href": asked})
    ET.SubElement(feed, "link", {"rel": "alternate", "type": "text/html", "href": page_url})
    for one in entries:
        _entry(feed, head, one, page_url)
    return bytes(ET.tostring(feed, encoding="utf-8", xml_declaration=True))


def _entry(feed: ET.Element, head: FeedHead, one: ShownBulletin, page_url: str) -> None:
    entry, text = ET.SubElement(feed, "entry"), one.text
    _told(entry, "id", _tag(head, f"/{one.week}"))
    _told(entry, "title", f"{text.title}: {text.week}, {text.dates}")
    _told(entry, "updated", _moment(one.changed_at))
    page = {"rel": "alternate", "type": "text/html", "href": f"{page_url}/{one.week}"}
    ET.SubElement(entry, "link", page)
    _told(entry, "summary", " ".join(filter(None, (text.headline, one.said))))
    content = ET.SubElement(entry, "content", {"type": "xhtml"})
    body = ET.SubElement(content, "div", {"xmlns": XHTML})
    for line in _lines(one, head.language):
        _told(body, "p", line)


def _lines(one: ShownBulletin, language: str) -> list[str]:
    text = one.text
    lines = (
        text.headline,
        f"{one.said} ({one.adviser})" if one.said else "",
        text.growth_of,
        *(growth_line(grass, language=language) for grass in text.grasses),
        text.cuts_of,
        *(cuts_line(grass) for grass in text.grasses if text.any_cut),
        *text.held,
        text.instead,
        *text.kept_off,
        text.lesson,
        text.guide,
        *text.sources,
        text.weather,
    )
    return [line for line in lines if line]


def _tag(head: FeedHead, week: str) -> str:
    return f"tag:{head.host},{SINCE}:region/{head.guide_id}{week}"


def _told(parent: ET.Element, name: str, text: str) -> None:
    ET.SubElement(parent, name).text = NOT_XML.sub("", text)


def _moment(at: datetime) -> str:
    return f"{at.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"

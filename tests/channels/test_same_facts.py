"""A mail's text says what its HTML says, word for word where the words are not the layout's."""

import re
from dataclasses import replace
from html import unescape

import pytest
from test_languages import EVERY

from mowalert.channels.messages import render_email
from mowalert.languages import LANGUAGES
from mowalert.links import Links

LINKS = Links("https://mow.example.org", "not a secret" * 3)


def words(text: str) -> set[str]:
    found = {word.strip(".:,;()·!?").casefold() for word in text.split()}
    return {word for word in found if any(letter.isalnum() for letter in word)}


def seen(html: str) -> str:
    """What a reader sees, and where the links lead."""
    body = html.split("<body", 1)[1].split(">", 1)[1]
    return unescape(re.sub(r"<[^>]+>", " ", body) + " " + " ".join(re.findall(r'href="([^"]+)"', body)))


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("name", EVERY)
def test_text_and_html_have_the_same_words(name: str, language: str) -> None:
    digest = EVERY[name]
    spoken = replace(digest, to=replace(digest.to, language=language))
    mail = render_email(
        spoken,
        service_name="Turf",
        base_url="https://mow.example.org",
        contact="turf@example.org",
        links=LINKS,
    )
    assert words(mail.text) ^ words(seen(mail.html)) == set()

"""A form with its words filled in is what the template makes of the words, whatever they are."""

from typing import get_origin, get_type_hints

import pytest
from builders import a_digest
from digests import MOW
from hypothesis import given, settings
from hypothesis import strategies as st
from markupsafe import Markup

from mowalert.channels.forms import GAP, THERE, Words, fill
from mowalert.channels.lawn_words import CutWords, HoldWords, RowWords
from mowalert.channels.messages import DigestWords, render_email
from mowalert.channels.rendering import template
from mowalert.languages import LANGUAGES

TYPED = st.one_of(
    st.text(max_size=12),
    st.text("5½ %s(x){y}<&>\"'\n\\" + THERE, max_size=12),
    st.sampled_from(
        ["", "5", "5 mm", "mm", "in 5", "%(place)s", f"{THERE}0{THERE}", "{{ day }}", "Cañada, 3 m"]
    ),
)
WORDED = st.sampled_from([Markup(""), Markup("<p>5&nbsp;mm &amp; %s</p>\n")])
OF = {str: TYPED, Markup: WORDED, bool: st.booleans()}
LINES = {"plan": st.tuples(TYPED, TYPED, TYPED)}


def words_of(kind: type[Words]) -> st.SearchStrategy[Words]:
    """Words of a kind, each of them anything or absent."""
    hints = get_type_hints(kind)
    return st.builds(
        kind,
        **{
            name: st.lists(LINES.get(name, TYPED), max_size=3).map(tuple)
            if get_origin(hint) is tuple
            else OF[hint]
            for name, hint in hints.items()
        },
    )


@pytest.mark.parametrize("name", ["digest", "digest_cut", "digest_hold", "digest_row"])
@settings(max_examples=40, deadline=None)
@given(st.data())
def test_a_form_filled_in_says_what_the_template_would(name: str, data: st.DataObject) -> None:
    kind = {"digest": DigestWords, "digest_cut": CutWords, "digest_hold": HoldWords, "digest_row": RowWords}[
        name
    ]
    words, language = data.draw(words_of(kind)), data.draw(st.sampled_from(sorted(LANGUAGES)))
    filled = fill(name, language, words)
    values = words._asdict()  # type: ignore[attr-defined]
    assert filled.text == template(f"{name}.txt", language).render(values)
    assert filled.html == template(f"{name}.html", language).render(values)


def test_no_gap_is_left_open() -> None:
    mail = render_email(a_digest(MOW), service_name="Turf Line")
    assert not GAP.search(mail.text + mail.html)

"""Links are signed as the library signs them, and read by it."""

from builders import NOW
from hypothesis import given
from hypothesis import strategies as st
from itsdangerous import URLSafeSerializer

from mowalert.links import PAGE, Links

LINKS = Links("https://mow.example.org", "a secret")
FACTS = st.lists(st.integers(0, 10**12) | st.text(max_size=60), max_size=4)


@given(FACTS)
def test_a_token_is_read_by_the_library_and_says_the_same(facts: list[int | str]) -> None:
    token = LINKS.token(PAGE, *facts)
    assert URLSafeSerializer("a secret", salt=PAGE).loads(token) == [0, *facts]
    assert LINKS.facts(PAGE, token, now=NOW) == tuple(facts)


@given(FACTS)
def test_a_token_of_the_library_is_read(facts: list[int | str]) -> None:
    token = URLSafeSerializer("a secret", salt=PAGE).dumps([0, *facts])
    assert LINKS.facts(PAGE, token, now=NOW) == tuple(facts)


@given(st.integers(1, 10**9), st.integers(0, 50))
def test_links_of_people_and_lawns_are_those_they_always_were(keeper_id: int, version: int) -> None:
    made = URLSafeSerializer("a secret", salt=PAGE).dumps([0, keeper_id, version])
    assert LINKS.token(PAGE, keeper_id, version) == made


@given(st.text(max_size=20), st.text(max_size=20))
def test_nobody_elses_signature_is_taken(payload: str, signature: str) -> None:
    assert LINKS.facts(PAGE, f"{payload}.{signature}", now=NOW) is None

"""An answer is read whole, within a size and a time, whoever sends it and whether or not it is kept."""

import gzip
from collections.abc import Callable
from pathlib import Path

import pytest
from faulty import FaultyServer, Reply, as_json, packed

from mowalert.errors import SourceError
from mowalert.weather import http as asking
from mowalert.weather.documents import Documents
from mowalert.weather.http import Http

FINE = {"grass": "grows", "days": list(range(500))}
Made = Callable[..., Http]


@pytest.fixture(params=["plain", "kept"])
def made(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Made:
    cache = tmp_path / "cache.db" if request.param == "kept" else None
    monkeypatch.setattr(Http, "most", 50_000)

    def make(**options: float) -> Http:
        usual = {"timeout_s": 0.4, "tries": 1, "backoff_s": 0.0}
        return Http(contact="", cache=cache, **{**usual, **options})  # type: ignore[arg-type]

    return make


def asked(http: Http, reply: Reply) -> object:
    with FaultyServer(lambda path: reply).running() as server:
        return http.get_json("it", f"{server.url}/x")


def refused(http: Http, reply: Reply) -> SourceError:
    with pytest.raises(SourceError) as error:
        asked(http, reply)
    return error.value


def test_a_whole_answer_is_read_packed_or_not(made: Made) -> None:
    assert asked(made(), as_json(FINE)) == (200, FINE)
    assert asked(made(), packed(as_json(FINE))) == (200, FINE)
    head = b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\nConnection: close\r\n\r\n"
    chunked = head + b"3\r\n[1,\r\n3\r\n22]\r\n0\r\n\r\n"
    assert asked(made(), Reply(raw=chunked)) == (200, [1, 22])


def test_a_body_that_is_too_large_is_not_read_to_its_end(made: Made) -> None:
    error = refused(made(), Reply(b"[" + b"1," * 200_000 + b"1]"))
    assert str(error) == "the answer is too large"
    assert error.permanent


def test_a_body_that_unpacks_to_too_much_is_refused(made: Made) -> None:
    bomb = gzip.compress(b"[" + b" " * 30_000_000 + b"]")
    assert len(bomb) < 50_000
    error = refused(made(), Reply(bomb, headers={"Content-Encoding": "gzip"}))
    assert str(error) == "the answer is too large"


def test_a_body_that_drips_without_end_is_left_after_a_while(made: Made) -> None:
    error = refused(made(within_s=0.2), as_json(FINE, drips=True))
    assert str(error) == "TooSlow"
    assert not error.permanent


@pytest.mark.parametrize(
    "reply",
    [
        as_json(FINE, cut=700),
        as_json(FINE, cut=700, resets=True),
        as_json(FINE, silent_s=0.8),
        Reply(gzip.compress(b"[1]")[:-12], headers={"Content-Encoding": "gzip"}),
        Reply(b"no gzip at all", headers={"Content-Encoding": "gzip"}),
        Reply(raw=b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n"),
        Reply(raw=b"nothing of HTTP\r\n\r\n"),
        Reply(raw=b""),
        Reply(b"<html>", headers={"Content-Type": "text/html"}),
    ],
)
def test_an_answer_that_is_cut_short_or_garbled_is_one_of_our_errors(made: Made, reply: Reply) -> None:
    assert not refused(made(), reply).permanent


def test_a_document_keeps_to_a_size_of_its_own() -> None:
    documents = Documents(contact="", timeout_s=0.4, tries=1, backoff_s=0.0)
    large = Reply(b" " * (Documents.most + 1))
    with FaultyServer(lambda path: large).running() as server, pytest.raises(SourceError, match="too large"):
        documents.get("it", f"{server.url}/x")
    assert Documents.most < asking.LARGEST_BODY

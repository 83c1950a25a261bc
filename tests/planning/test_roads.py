"""Roads are asked of a table service on loopback; whatever it says wrong is one of our errors."""

from collections.abc import Callable, Sequence
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest
from faulty import FaultyServer, Reply, as_json

from mowalert.domain.crews import Position
from mowalert.errors import SourceError
from mowalert.planning.roads import RoadTable
from mowalert.weather.http import Http

PLACES = [Position(43.0 + number / 100, -88.0) for number in range(120)]


def roads(path: str) -> Reply:
    """A minute and a kilometre for each hundredth of a degree, and a minute more to the north."""
    asked = urlsplit(path)
    north = [float(one.split(",")[1]) for one in asked.path.rpartition("/")[2].split(";")]
    query = {name: [int(one) for one in said[0].split(";")] for name, said in parse_qs(asked.query).items()
             if name in ("sources", "destinations")}  # fmt: skip
    assert len(north) <= 100

    def steps(one: int, other: int) -> float:
        return round((north[other] - north[one]) * 100)

    def table(figure: Callable[[float], float]) -> Sequence[Sequence[float]]:
        return [[figure(steps(one, other)) for other in query["destinations"]] for one in query["sources"]]

    return as_json(
        {
            "code": "Ok",
            "durations": table(lambda step: abs(step) * 60 + (59.5 if step > 0 else 0)),
            "distances": table(lambda step: abs(step) * 1000.0),
        }
    )


def http() -> Http:
    return Http(contact="", timeout_s=2.0, tries=1, backoff_s=0.0)


def test_a_large_table_is_put_together_from_small_ones() -> None:
    with FaultyServer(roads).running() as server:
        travel = RoadTable(http(), url=server.url + "/")(PLACES)
    assert travel.minutes.shape == (120, 120)
    assert (travel.minutes[3, 3], travel.minutes[10, 13], travel.minutes[110, 2]) == (0, 4, 108)
    assert travel.km[110, 2] == 108.0


def test_places_that_are_one_are_asked_for_once() -> None:
    with FaultyServer(roads).running() as server:
        travel = RoadTable(http(), url=server.url)([PLACES[5], PLACES[7], PLACES[5]])
        assert len(server.asked) == 1
    assert travel.minutes.tolist() == [[0, 3, 0], [2, 0, 2], [0, 3, 0]]


def spoilt(change: Callable[[dict[str, object]], object]) -> Callable[[str], Reply]:
    def reply(path: str) -> Reply:
        import json

        told = json.loads(roads(path).body)
        changed = change(told)
        return as_json(told if changed is None else changed)

    return reply


@pytest.mark.parametrize(
    "change",
    [
        lambda told: told.update(code="NoTable"),
        lambda told: told.update(durations=None),
        lambda told: told.update(durations=[[1, 2], [3]]),
        lambda told: told.update(durations=[["x", "y"], ["z", "u"]]),
        lambda told: told.update(durations=[[0.0, None], [1.0, 0.0]]),
        lambda told: told.update(durations=[[0.0, -5.0], [1.0, 0.0]]),
        lambda told: told.update(distances=[[0.0]]),
        lambda told: ["no", "object"],
        lambda told: 7,
    ],
)
def test_a_table_that_makes_no_sense_is_refused(change: Callable[[dict[str, object]], object]) -> None:
    with FaultyServer(spoilt(change)).running() as server, pytest.raises(SourceError):
        RoadTable(http(), url=server.url)(PLACES[:2])


def test_a_service_that_is_down_or_leads_elsewhere_is_one_of_our_errors() -> None:
    for reply in (
        Reply(b"{}", status=503),
        Reply(status=302, headers={"Location": "http://127.0.0.2/"}),
        Reply(raw=b""),
    ):
        with FaultyServer(lambda path, reply=reply: reply).running() as server, pytest.raises(SourceError):
            RoadTable(http(), url=server.url)(PLACES[:2])


def test_nowhere_to_drive_is_no_question() -> None:
    assert RoadTable(http(), url="http://127.0.0.1:9")([]).minutes.shape == (0, 0)
    assert np.array_equal(RoadTable(http(), url="http://127.0.0.1:9")([]).km, np.zeros((0, 0)))

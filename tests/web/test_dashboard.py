"""Every query of the dashboard names a figure that is there, with labels it has."""

import re
from datetime import timedelta
from pathlib import Path

import orjson
from web_people import Visitor

DASHBOARD = Path(__file__).parents[2] / "deploy" / "grafana" / "mowalert.json"
NAME = re.compile(r"\bmowalert_\w+")
OF_A_HISTOGRAM = ("_created", "_count", "_sum")


def queries() -> list[tuple[str, str]]:
    panels = orjson.loads(DASHBOARD.read_bytes())["panels"]
    return [(one["expr"], one["legendFormat"]) for panel in panels for one in panel.get("targets", [])]


def figures(visitor: Visitor) -> dict[str, set[str]]:
    """Names of all figures, each with its labels; those without a value yet have none."""
    found: dict[str, set[str]] = {}
    for line in visitor.get("/metrics").text.splitlines():
        if line.startswith("# TYPE"):
            _, _, name, kind = line.split()
            found.setdefault(f"{name}_bucket" if kind == "histogram" else name, set())
        elif not line.startswith("#"):
            name = line.partition(" ")[0].partition("{")[0]
            found.setdefault(name, set()).update(re.findall(r'(\w+)="', line))
    return found


def test_every_query_names_figures_and_labels_that_are_there(visitor: Visitor) -> None:
    visitor.join()
    visitor.night()
    visitor.now += timedelta(minutes=1)
    known = figures(visitor)
    assert len(queries()) > 20
    for query, legend in queries():
        names = NAME.findall(query)
        assert names, query
        for name in names:
            assert name in known, query
            labels = set(re.findall(r"{{(\w+)}}", legend))
            assert not known[name] or labels <= known[name], query


def test_every_figure_is_on_the_dashboard(visitor: Visitor) -> None:
    visitor.night()
    visitor.now += timedelta(minutes=1)
    shown = {name for query, _ in queries() for name in NAME.findall(query)}
    assert {
        name for name in figures(visitor) if name not in shown and not name.endswith(OF_A_HISTOGRAM)
    } == set()

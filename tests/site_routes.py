"""Every route the pages and the API have, so that a new one is walked by itself."""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from fastapi import FastAPI
from starlette.routing import BaseRoute, Mount, Route


@dataclass(frozen=True, slots=True)
class Way:
    """One method of one route, with the path of the application it is mounted under."""

    method: str
    below: str
    route: Route

    @property
    def template(self) -> str:
        """The whole path, with its parameters."""
        return self.below + self.route.path

    @property
    def parameters(self) -> list[str]:
        """Names of what stands in its path."""
        return re.findall(r"\{(\w+)[^}]*\}", self.template)

    @property
    def questions(self) -> list[str]:
        """Names of what may follow the question mark."""
        dependant: Any = getattr(self.route, "dependant", None)
        return [] if dependant is None else sorted(_questions(dependant))

    def path(self, **values: object) -> str:
        """The path, filled in."""
        return re.sub(r"\{(\w+)[^}]*\}", lambda part: str(values[part[1]]), self.template)


def ways_of(routes: Iterable[BaseRoute], *, below: str = "") -> Iterator[Way]:
    """Every method of every route."""
    for route in routes:
        # FastAPI keeps an included router whole; older ones copy its routes.
        included = getattr(route, "original_router", None)
        if included is not None:
            yield from ways_of(included.routes, below=below)
        elif isinstance(route, Mount) and isinstance(route.app, FastAPI):
            yield from ways_of(route.app.routes, below=route.path)
        elif isinstance(route, Route):
            yield from (Way(method, below, route) for method in sorted(route.methods or ()))


def _questions(dependant: Any) -> set[str]:
    names: set[str] = set()
    for one in dependant.query_params:
        model = getattr(one.field_info, "annotation", None)
        names |= set(getattr(model, "model_fields", {one.alias: None}))
    return names.union(*(_questions(below) for below in dependant.dependencies))

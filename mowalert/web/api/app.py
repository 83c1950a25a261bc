"""The application that programs talk to, mounted beside the pages, and its description."""

from typing import Any

from fastapi import FastAPI, Response
from pydantic.json_schema import models_json_schema

from mowalert import __version__
from mowalert.web.api.problems import Problem, answer_problems, problem
from mowalert.web.api.routes import enrolling, looking, saying, visiting
from mowalert.web.api.said import LeaveAlone, MeasuredHeight, Mowing, Pause, VisitSaid
from mowalert.web.site import Site

DESCRIPTION = """\
For a keeper's own programs: what their lawns need, and what was done to them.

Heights are in millimetres. Days are days where the keeper lives, moments are UTC. A key sees its keeper's
lawns only: what belongs to somebody else is not there. What goes wrong is told as problem details (RFC 9457).
"""
REF = "#/components/schemas/{model}"


class Api(FastAPI):
    """An application whose description holds bodies and problems too, which it reads and writes itself."""

    def openapi(self) -> dict[str, Any]:
        """Return the description (OpenAPI 3.1)."""
        described = super().openapi()
        _, schemas = models_json_schema(
            [
                (model, "validation")
                for model in (Mowing, MeasuredHeight, LeaveAlone, Pause, VisitSaid, Problem)
            ],
            ref_template=REF,
        )
        described["components"]["schemas"].update(schemas["$defs"])
        return described


def create_api(site: Site | None = None) -> Api:
    """Make the application.

    Parameters
    ----------
    site : Site | None
        What it answers from; without one it can only be described.

    Returns
    -------
    Api
        To be mounted.
    """
    api = Api(
        title="Lawns",
        version=__version__,
        description=DESCRIPTION,
        openapi_url="/openapi.json",
        docs_url=None,
        redoc_url=None,
        # A redirect would be one more answer to expect, and loses the key on the way with some programs.
        redirect_slashes=False,
        generate_unique_id_function=lambda route: route.name,
    )
    api.state.site = site
    for routes in (looking, saying, visiting, enrolling):
        api.include_router(routes.router)
    answer_problems(api)
    return api


def too_large() -> Response:
    """Return the answer to a body that nobody reads."""
    return problem(413)

"""The programs' interface answers as its own description says, whatever it is asked."""

from collections.abc import Iterator

import pytest
import schemathesis
from hypothesis import settings
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)
from skies import Skies
from stores import empty_store
from web_people import Visitor, served
from web_programs import API, Program, enrolled, program

from mowalert.settings import load_settings
from mowalert.web.api.app import create_api
from mowalert.web.app import create_app
from mowalert.wiring import open_services

CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
]
DESCRIBED = schemathesis.openapi.from_dict(create_api().openapi())
# The rest of the methods that are not there are answered alike.
DESCRIBED.config.phases.coverage.unexpected_methods = {"PATCH"}
LAWNS = 5
"""Numbers that are asked for: the program's own three lawns, a neighbour's, and one that is not there."""


@pytest.fixture(scope="module")
def office(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Program]:
    """One program for all: no check here depends on what was asked before."""
    folder = tmp_path_factory.mktemp("office")
    (folder / "mowalert.db").write_bytes(empty_store())
    environ = {"MOWALERT_SERVICE__DATA_DIR": str(folder), "MOWALERT_SERVICE__SECRET_KEY": "a secret"}
    services = open_services(load_settings(None, environ=environ))
    visitor = Visitor(services, "", folder, Skies())
    with served(create_app(services, clock=lambda: visitor.now)) as visitor.url:
        enrolled(visitor)
        yield program(visitor)
    services.close()


@DESCRIBED.parametrize()
@settings(max_examples=12, derandomize=True, database=None)
def test_every_answer_is_as_described(case: schemathesis.Case, office: Program) -> None:
    for name, number in case.path_parameters.items():
        # Any number is allowed, and next to none of them is a lawn's.
        if isinstance(number, int):
            case.path_parameters[name] = number % LAWNS + 1 if number > 0 else number
    case.call_and_validate(
        base_url=office.visitor.url + API,
        headers={"Authorization": f"Bearer {office.key}"},
        session=office.visitor.session,
        checks=CHECKS,
    )

"""Everything that goes wrong, as problem details (RFC 9457) in a person's words."""

from collections.abc import Iterable, Mapping, Sequence
from http import HTTPStatus
from typing import Any, Literal

import structlog
from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from pydantic import BaseModel, Field
from starlette.exceptions import HTTPException

from mowalert.errors import InputError, MowalertError
from mowalert.service.keepers.own_lawns import NotThereError
from mowalert.service.reading.lawn_rows import Problem as RowProblem

log = structlog.get_logger()
MEDIA_TYPE = "application/problem+json"
MOST_FAULTS = 100
LONGEST_DETAIL, LONGEST_NAME = 500, 80
"""Letters of an answer that repeat what was sent; nobody reads more."""
WORDS: Mapping[int, str] = {
    401: "There is no key, or it is wrong or revoked.",
    403: "The key was not made for this.",
    404: "There is no such thing among this keeper's.",
    405: "Nothing here is asked for in this way.",
    413: "The body is too large, or its Content-Length is missing.",
    415: "The body is of another type than is read here.",
    422: "Something of what was sent cannot be; nothing was changed.",
    429: "Too many wrong keys came from this address; ask again later.",
    500: "Something went wrong here.",
    503: "The store cannot be used at the moment; ask again later.",
}
RETRY_S = {429: 3600, 503: 30}


class Fault(BaseModel):
    """One thing that is wrong."""

    where: Literal["body", "path", "query", "row"] = Field(description="Which part of the request it is in.")
    field: str = Field(description="Name of the field or column; empty for the whole.")
    message: str = Field(description="What is wrong, or what is allowed.")
    line: int | None = Field(default=None, description="Line of a table's row.")


class Problem(BaseModel):
    """What went wrong (RFC 9457)."""

    type: str = Field(default="about:blank", description="Always this: the status says what kind it is.")
    title: str = Field(description="Name of the status.")
    status: int = Field(description="The answer's status.")
    detail: str = Field(description="What happened, in a person's words.")
    errors: list[Fault] = Field(default=[], description="Each thing that is wrong, where several can be.")


class RefusedError(Exception):
    """A request that is not answered.

    Parameters
    ----------
    status : int
        Of the answer.
    detail : str | None
        What happened; the usual words if not given.
    errors : Sequence[Fault]
        Each thing that is wrong.
    headers : Mapping[str, str] | None
        Of the answer.
    """

    def __init__(
        self,
        status: int,
        detail: str | None = None,
        *,
        errors: Sequence[Fault] = (),
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(detail or WORDS[status])
        self.status, self.errors, self.headers = status, errors, headers


def problem(
    status: int,
    detail: str | None = None,
    *,
    errors: Sequence[Fault] = (),
    headers: Mapping[str, str] | None = None,
) -> JSONResponse:
    """Return problem details.

    Parameters
    ----------
    status : int
        Of the answer.
    detail : str | None
        What happened; the usual words if not given.
    errors : Sequence[Fault]
        Each thing that is wrong; the first hundred are told.
    headers : Mapping[str, str] | None
        Of the answer.

    Returns
    -------
    JSONResponse
        The answer.
    """
    said = Problem(
        title=HTTPStatus(status).phrase,
        status=status,
        detail=_short(detail or WORDS.get(status, HTTPStatus(status).description), LONGEST_DETAIL),
        errors=list(errors[:MOST_FAULTS]),
    )
    wait = {"Retry-After": str(RETRY_S[status])} if status in RETRY_S else {}
    return JSONResponse(
        said.model_dump(), status_code=status, media_type=MEDIA_TYPE, headers={**wait, **(headers or {})}
    )


def answers(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """Return the description of problems a route may answer with."""
    return {status: _described(status) for status in sorted({*statuses, 401, 403, 413, 429, 503})}


def _described(status: int) -> dict[str, Any]:
    names = {401: "WWW-Authenticate", 403: "WWW-Authenticate", 429: "Retry-After", 503: "Retry-After"}
    headers = {names[status]: {"schema": {"type": "string"}}} if status in names else {}
    schema = {"$ref": "#/components/schemas/Problem"}
    return {"description": WORDS[status], "content": {MEDIA_TYPE: {"schema": schema}}, "headers": headers}


def answer_problems(api: FastAPI) -> None:
    """Let an application answer with problem details, whatever goes wrong."""
    handlers: Mapping[type[Exception], Any] = {
        RefusedError: _refused,
        RequestValidationError: _invalid,
        NotThereError: _not_there,
        InputError: _input,
        MowalertError: _unavailable,
        HTTPException: _plain,
        Exception: _broken,
    }
    for kind, handler in handlers.items():
        api.exception_handler(kind)(handler)


def faults_of(errors: Iterable[Mapping[str, Any]]) -> list[Fault]:
    """Return what a model found wrong; what was sent is not repeated."""
    return [_fault(error) for error in errors]


def row_faults(problems: Iterable[RowProblem]) -> list[Fault]:
    """Return what is wrong with a table's rows."""
    return [Fault(where="row", field=one.column, message=_row_words(one), line=one.line) for one in problems]


def _row_words(one: RowProblem) -> str:
    found = repr(one.found) if one.found else "nothing"
    return f"found {found}; allowed: {one.allowed}"


def _fault(error: Mapping[str, Any]) -> Fault:
    where, *names = error["loc"]
    field = _short(".".join(str(name) for name in names), LONGEST_NAME)
    return Fault(where=where, field=field, message=_short(str(error["msg"]), LONGEST_DETAIL))


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[: most - 1]}…"


def _refused(request: Request, error: RefusedError) -> JSONResponse:
    return problem(error.status, str(error), errors=error.errors, headers=error.headers)


def _invalid(request: Request, error: RequestValidationError) -> JSONResponse:
    return problem(422, errors=faults_of(error.errors()))


def _not_there(request: Request, error: NotThereError) -> JSONResponse:
    return problem(404, str(error))


def _input(request: Request, error: InputError) -> JSONResponse:
    return problem(422, str(error))


def _unavailable(request: Request, error: MowalertError) -> JSONResponse:
    log.warning("not answered", reason=str(error))
    return problem(503)


def _plain(request: Request, error: HTTPException) -> JSONResponse:
    return problem(error.status_code, WORDS.get(error.status_code), headers=error.headers)


def _broken(request: Request, error: Exception) -> JSONResponse:
    return problem(500)

"""Who asks, what their key was made for, and what they say: looked at in this order."""

from collections.abc import Callable
from email.message import Message
from typing import Annotated, Any, TypeVar

from fastapi import Depends, Request, Security
from fastapi.exceptions import RequestValidationError
from fastapi.security import HTTPAuthorizationCredentials, HTTPBearer
from pydantic import BaseModel, ValidationError

from mowalert.service.keepers.keys import Asker, Refused, Scope, asker_of
from mowalert.web.api.problems import Fault, RefusedError
from mowalert.web.site import Site, sender_of, site_of

Told = TypeVar("Told", bound=BaseModel)
SiteHere = Annotated[Site, Depends(site_of)]
bearer = HTTPBearer(
    auto_error=False,
    scheme_name="key",
    description="A key that `mowalert api-key make` has shown, for one keeper's lawns.",
)
JSON, CSV = "application/json", "text/csv"


def _asker(
    request: Request,
    site: SiteHere,
    shown: Annotated[HTTPAuthorizationCredentials | None, Security(bearer)],
) -> Asker:
    if shown is None:
        raise RefusedError(401, "Send a key: Authorization: Bearer mow_…", headers=_challenge())
    found = asker_of(
        site.services.store, site.links, shown.credentials, sender=sender_of(request), now=site.now
    )
    if found is Refused.TOO_MANY:
        raise RefusedError(429)
    if not isinstance(found, Asker):
        headers = _challenge(error="invalid_token")
        raise RefusedError(401, "The key is wrong or was revoked.", headers=headers)
    return found


def _challenge(**facts: str) -> dict[str, str]:
    """What a refused program is told (RFC 6750, section 3)."""
    said = ", ".join(f'{name}="{value}"' for name, value in {"realm": "mowalert", **facts}.items())
    return {"WWW-Authenticate": f"Bearer {said}"}


def _with(scope: Scope) -> Callable[[Asker], Asker]:
    def allowed(asker: Annotated[Asker, Depends(_asker)]) -> Asker:
        if not asker.may(scope):
            headers = _challenge(error="insufficient_scope", scope=scope)
            raise RefusedError(403, f"The key was not made with the scope {scope}.", headers=headers)
        return asker

    return allowed


Reader = Annotated[Asker, Depends(_with(Scope.READ))]
Reporter = Annotated[Asker, Depends(_with(Scope.REPORT))]
Enroller = Annotated[Asker, Depends(_with(Scope.ENROL))]


def told(model: type[Told]) -> Any:
    """Return a dependency that reads a body, after the key was looked at.

    The framework's own bodies are read before anybody is asked for a key, and by another reader: this one
    refuses what cannot be kept, such as halves of letters.

    Parameters
    ----------
    model : type[Told]
        What the body must be.

    Returns
    -------
    Any
        For ``Annotated``.
    """

    async def read(request: Request) -> Told:
        _check_type(request, JSON)
        try:
            return model.model_validate_json(await request.body())
        except ValidationError as error:
            faults = [{**one, "loc": ("body", *one["loc"])} for one in error.errors(include_url=False)]
            raise RequestValidationError(faults) from error

    return Depends(read)


async def table_of(request: Request) -> str:
    """Return a table's text; refused if it is no UTF-8 text."""
    _check_type(request, CSV)
    try:
        return (await request.body()).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        fault = Fault(where="body", field="", message=f"no UTF-8 text at octet {error.start}")
        raise RefusedError(422, "The table is not UTF-8 text.", errors=[fault]) from error


Table = Annotated[str, Depends(table_of)]


def _check_type(request: Request, wanted: str) -> None:
    said = Message()
    said["content-type"] = request.headers.get("content-type", "")
    plain = request.headers.get("content-encoding", "identity") == "identity"
    charset = str(said.get_content_charset("utf-8"))
    if said.get_content_type() != wanted or charset not in ("utf-8", "us-ascii") or not plain:
        raise RefusedError(415, f"Send {wanted} in UTF-8, not compressed.")


def takes(media_type: str, schema: dict[str, Any]) -> dict[str, Any]:
    """Return the description of a body, for a route."""
    return {"requestBody": {"required": True, "content": {media_type: {"schema": schema}}}}


def takes_model(model: type[BaseModel]) -> dict[str, Any]:
    """Return the description of a JSON body, for a route."""
    return takes(JSON, {"$ref": f"#/components/schemas/{model.__name__}"})

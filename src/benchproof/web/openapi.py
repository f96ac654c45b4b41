"""The API's operations as data, from which their routes and their OpenAPI description are made."""

from asyncio import timeout
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import msgspec
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response
from starlette.routing import Route

from benchproof import __version__
from benchproof.face.view import tells_in_order, told
from benchproof.family import limits
from benchproof.family.nesting import nested_deeper
from benchproof.web.site import Site

JSON = "application/json"
_SECONDS = 60
"""So long a body may take to come; while it is large, others wait."""
_REF = "#/components/schemas/{name}"


class ApiProblem(msgspec.Struct):
    """Why something was not done."""

    problem: str


@dataclass(frozen=True)
class Call:
    """A request to the API, checked against its operation.

    Attributes
    ----------
    site : Site
    path : mapping of str to str
        The parts of the address.
    query, body : Any
        Of the types that the operation names.
    """

    site: Site
    path: Mapping[str, str]
    query: Any = None
    body: Any = None


@dataclass(frozen=True)
class Operation:
    """One thing that can be done.

    Attributes
    ----------
    method, path, name, summary : str
        `path` as OpenAPI writes it.
    answer : type
        What it answers with.
    do : callable
        Does it, in a thread of its own.
    query, body : type or None
        What it takes.
    status : int
        Of a good answer.
    """

    method: str
    path: str
    name: str
    summary: str
    answer: Any
    do: Callable[[Call], Any]
    query: type[msgspec.Struct] | None = None
    body: type[msgspec.Struct] | None = None
    status: int = 200


def route(operation: Operation) -> Route:
    """Return the route of an operation."""
    in_order = tells_in_order(operation.answer)

    async def endpoint(request: Request) -> Response:
        # What tells no length may be of any.
        length = int(request.headers.get("content-length", limits.BODY.most))
        async with request.app.state.large.turn(0 if operation.body is None else length):
            call = Call(
                request.app.state.site,
                request.path_params,
                _query(operation, request),
                await _body(operation, request),
            )
            answer = await run_in_threadpool(operation.do, call)
        shown = answer if in_order else told(answer)
        return Response(msgspec.json.encode(shown), operation.status, media_type=JSON)

    return Route(operation.path, endpoint, methods=[operation.method], name=operation.name)


def _query(operation: Operation, request: Request) -> Any:  # noqa: ANN401  (as the operation has it)
    if operation.query is None:
        return None
    try:
        return msgspec.convert(dict(request.query_params), operation.query, strict=False)
    except msgspec.ValidationError as error:
        raise HTTPException(422, f"{error}.") from None


async def _body(operation: Operation, request: Request) -> Any:  # noqa: ANN401
    if operation.body is None:
        return None
    # A browser sends this type across origins only after asking, and nobody says yes.
    if request.headers.get("content-type", "").partition(";")[0].strip().lower() != JSON:
        raise HTTPException(415, f"Send {JSON}.")
    _check_length(operation, int(request.headers.get("content-length", "0")))
    # Not `request.body`, which holds it twice and until the answer is given.
    body = bytearray()
    try:
        async with timeout(_SECONDS):
            async for chunk in request.stream():
                body += chunk
        _check_length(operation, len(body))
        if nested_deeper(body, limits.JSON_DEEP.most):
            raise HTTPException(400, limits.JSON_DEEP.told())
        return msgspec.json.decode(body, type=operation.body)
    except msgspec.ValidationError as error:
        raise HTTPException(422, f"{error}.") from None
    except (msgspec.DecodeError, UnicodeDecodeError):
        raise HTTPException(400, "That is not JSON.") from None
    except TimeoutError:
        raise HTTPException(408, f"That did not come within {_SECONDS} s.") from None
    except ClientDisconnect:
        raise HTTPException(413, "That is too large, or it did not come whole.") from None


def _check_length(operation: Operation, length: int) -> None:
    assert operation.body is not None, "only a body has a length"
    # A photograph comes in the body; the doors hold it to the most that anybody sends.
    has_content = any(field.name == "content" for field in msgspec.structs.fields(operation.body))
    if length > limits.JSON_BYTES.most and not has_content:
        raise HTTPException(413, limits.JSON_BYTES.told())


def describe(operations: Iterable[Operation]) -> dict[str, Any]:
    """Return the OpenAPI 3.1 description of operations."""
    operations = tuple(operations)
    types: list[Any] = [ApiProblem]
    for one in operations:
        types += [kind for kind in (one.answer, one.body) if kind is not None]
    schemas, components = msgspec.json.schema_components(types, ref_template=_REF)
    of = dict(zip(map(_key, types), schemas, strict=True))
    paths: dict[str, dict[str, Any]] = {}
    for one in operations:
        paths.setdefault(one.path, {})[one.method.lower()] = _described(one, of)
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "benchproof bench page",
            "version": __version__,
            "description": "The same actions as on the page. On the bench's own computer anybody "
            "may use it; from the network only a paired device, by its cookie. Bodies are "
            "application/json; a request that changes something and bears an Origin must bear "
            "ours.",
        },
        "paths": paths,
        "components": {"schemas": components},
    }


def _key(kind: Any) -> str:  # noqa: ANN401  (any type)
    return repr(kind)


def _described(one: Operation, of: Mapping[str, Any]) -> dict[str, Any]:
    problem = {"content": {JSON: {"schema": of[_key(ApiProblem)]}}}
    shown: dict[str, Any] = {
        "operationId": one.name,
        "summary": one.summary,
        "parameters": [*_path_parameters(one.path), *_query_parameters(one.query)],
        "responses": {
            str(one.status): {
                "description": "Done.",
                "content": {JSON: {"schema": of[_key(one.answer)]}},
            },
            "4XX": {"description": "Not done; a sentence says why.", **problem},
        },
    }
    if one.body is not None:
        shown["requestBody"] = {
            "required": True,
            "content": {JSON: {"schema": of[_key(one.body)]}},
        }
    return shown


def _path_parameters(path: str) -> list[dict[str, Any]]:
    names = [part[1:-1] for part in path.split("/") if part.startswith("{")]
    return [
        {
            "name": name,
            "in": "path",
            "required": True,
            "schema": {"type": "string", "minLength": 1, "maxLength": 200},
        }
        for name in names
    ]


def _query_parameters(query: type[msgspec.Struct] | None) -> list[dict[str, Any]]:
    if query is None:
        return []
    schema = msgspec.json.schema(query)
    inner = schema["$defs"][query.__name__]
    return [
        {
            "name": name,
            "in": "query",
            "required": name in inner.get("required", ()),
            "schema": {key: value for key, value in of.items() if key != "default"},
        }
        for name, of in inner["properties"].items()
    ]

"""The one shape in which the server says that something was wrong."""

from __future__ import annotations

from typing import Any, Literal

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from pydantic import BaseModel
from starlette.exceptions import HTTPException

from obbligato.desk.words import page_words
from obbligato.errors import InputError, NotRightError

Code = Literal[
    "bad_input", "not_right", "not_there", "refused", "too_large", "invalid", "wrong_method", "no_room", "broken"
]

_CODES: dict[int, Code] = {401: "refused", 403: "refused", 404: "not_there", 405: "wrong_method", 413: "too_large"}
_MESSAGES = {
    404: "There is nothing at this address.",
    405: "This address does not take that kind of request.",
}


class ErrorText(BaseModel):
    """What is wrong, for programs and for people."""

    code: Code
    message: str


class ErrorBody(BaseModel):
    """The body of every answer that is not a success."""

    error: ErrorText


class NotThere(Exception):
    """A job, task or file that does not exist; the text is one sentence for the player."""


class NoRoom(Exception):
    """The disk is full; the text is one sentence for the player."""


RESPONSES: dict[int | str, dict[str, Any]] = {
    401: {"model": ErrorBody, "description": "No token, or not this run's"},
    403: {"model": ErrorBody, "description": "Another host or origin"},
    404: {"model": ErrorBody, "description": "No such job, task or file"},
    409: {"model": ErrorBody, "description": "The job is not right for this"},
    413: {"model": ErrorBody, "description": "The body is too large"},
    422: {"model": ErrorBody, "description": "Bad input"},
    507: {"model": ErrorBody, "description": "The disk is full"},
}
"""What any address under /api can answer beside its success."""


def error_response(status: int, code: Code, message: str) -> JSONResponse:
    """An answer in the one error shape."""
    body = ErrorBody(error=ErrorText(code=code, message=message))
    return JSONResponse(body.model_dump(), status_code=status, headers={"Cache-Control": "no-store"})


def add_handlers(app: FastAPI) -> None:
    """Turn every exception a route can raise into the one shape."""

    @app.exception_handler(InputError)
    async def _bad_input(_: Request, error: InputError) -> JSONResponse:
        return error_response(422, "bad_input", page_words(str(error)))

    @app.exception_handler(NotRightError)
    async def _not_right(_: Request, error: NotRightError) -> JSONResponse:
        return error_response(409, "not_right", page_words(str(error)))

    @app.exception_handler(NotThere)
    async def _not_there(_: Request, error: NotThere) -> JSONResponse:
        return error_response(404, "not_there", str(error))

    @app.exception_handler(NoRoom)
    async def _no_room(_: Request, error: NoRoom) -> JSONResponse:
        return error_response(507, "no_room", str(error))

    @app.exception_handler(RequestValidationError)
    async def _invalid(_: Request, error: RequestValidationError) -> JSONResponse:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"] if part != "body") or "the request"
        return error_response(422, "invalid", f"{place}: {first['msg']}; correct it and send it again.")

    @app.exception_handler(HTTPException)
    async def _http(_: Request, error: HTTPException) -> JSONResponse:
        message = _MESSAGES.get(error.status_code, str(error.detail))
        return error_response(error.status_code, _CODES.get(error.status_code, "invalid"), message)

    @app.exception_handler(Exception)
    async def _broken(_: Request, error: Exception) -> JSONResponse:
        message = "Something broke here; the job is unharmed. What happened stands in the terminal the desk runs in."
        return error_response(500, "broken", message)

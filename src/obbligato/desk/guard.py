"""Who may ask: this machine's own pages, by the right host, with this run's token, in reasonable sizes.

The server listens on the loopback address only. A page of another site in the same browser can still send requests
there (by name rebinding or by form), so the Host and Origin headers are checked on every request, and every address
under /api needs the token, which only the desk's own page has and which no browser sends by itself.
"""

from __future__ import annotations

import hmac
from collections.abc import Iterable

from fastapi import HTTPException
from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from obbligato.desk.errors import Code, error_response

LARGEST_JSON = 4 * 2**20
LARGEST_UPLOAD = 2 * 2**30
UPLOADS = "/api/uploads"

_HOSTS = ("127.0.0.1", "localhost", "[::1]")
_POLICY = (
    "default-src 'none'; script-src 'self'; worker-src 'self' blob:; style-src 'self' 'unsafe-inline'; "
    "font-src 'self'; img-src 'self' data: blob:; media-src 'self' blob:; connect-src 'self'; manifest-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
_HEADERS = {
    "Content-Security-Policy": _POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}


class TooLarge(HTTPException):
    """A body went past its limit while it was read."""

    def __init__(self, limit: int) -> None:
        status, _, message = _too_large_words(limit)
        super().__init__(status, message)


class Guard:
    """ASGI middleware around the whole application."""

    def __init__(self, app: ASGIApp, *, token: str, ports: Iterable[int]) -> None:
        self.app = app
        self.token = token
        self.hosts = frozenset(f"{host}:{port}" for host in _HOSTS for port in ports)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse what may not ask; otherwise pass on, counting the body and adding the security headers."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        limit = LARGEST_UPLOAD if scope["path"] == UPLOADS else LARGEST_JSON
        refusal = self._refusal(scope, headers) or _too_large(headers, limit)
        if refusal:
            await error_response(*refusal)(scope, receive, _with_headers(send, scope))
            return
        await self.app(scope, _counted(receive, limit), _with_headers(send, scope))

    def _refusal(self, scope: Scope, headers: Headers) -> tuple[int, Code, str] | None:
        host, origin = headers.get("host", ""), headers.get("origin")
        if host.lower() not in self.hosts:
            return 403, "refused", "The desk answers only at its own address on this machine."
        if origin is not None and origin.lower() not in {f"http://{own}" for own in self.hosts}:
            return 403, "refused", "The desk takes no requests from other pages."
        if headers.get("sec-fetch-site", "none") not in {"none", "same-origin"} and scope["path"] != "/":
            return 403, "refused", "The desk takes no requests from other pages."
        if scope["path"].startswith("/api") and not self._has_token(headers):
            return 401, "refused", "This needs the token of this run; open the desk by the address it printed."
        return None

    def _has_token(self, headers: Headers) -> bool:
        kind, _, token = headers.get("authorization", "").partition(" ")
        return kind.lower() == "bearer" and hmac.compare_digest(token.strip().encode(), self.token.encode())


def _too_large(headers: Headers, limit: int) -> tuple[int, Code, str] | None:
    stated = headers.get("content-length", "0")
    if not stated.isdecimal():
        return 422, "invalid", "The length of the body is no number; send it again."
    return _too_large_words(limit) if int(stated) > limit else None


def _too_large_words(limit: int) -> tuple[int, Code, str]:
    size = f"{limit // 2**30} GB" if limit >= 2**30 else f"{limit // 2**20} MB"
    return 413, "too_large", f"That is more than {size}, the most that is taken at once; send a smaller file."


def _counted(receive: Receive, limit: int) -> Receive:
    """The body, up to its limit: a length that was not stated, or stated wrongly, is caught here."""
    received = 0

    async def counted() -> Message:
        nonlocal received
        message = await receive()
        received += len(message.get("body", b""))
        if received > limit:
            raise TooLarge(limit)
        return message

    return counted


def _with_headers(send: Send, scope: Scope) -> Send:
    extra = {"Cache-Control": "no-store"} if scope["path"].startswith("/api") else {}

    async def with_headers(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in (_HEADERS | extra).items():
                if name not in headers:
                    headers[name] = value
        await send(message)

    return with_headers

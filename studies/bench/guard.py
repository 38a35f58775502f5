"""Only for its owner: token and cookie, Host and Origin, and what a page may load.

Another person on the machine can reach the port but has neither the token, which stands only in
the address that is opened once, nor the cookie. Another site in the owner's browser has no cookie
(same-site), no Origin that is let in, and under no other name than that of this machine an answer
at all: that stops a name which is made to point here.
"""

from __future__ import annotations

import hmac
import secrets
from dataclasses import dataclass, field
from urllib.parse import parse_qs

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import cookie_parser
from starlette.responses import PlainTextResponse, RedirectResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

NAMES = ("127.0.0.1", "localhost", "[::1]")
SAFE = ("GET", "HEAD")
PAGE_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:"
    " blob:; connect-src 'self'; media-src blob:; frame-src 'self'; form-action 'self';"
    " base-uri 'none'; frame-ancestors 'none'"
)
"""Charts set styles of their own elements; no script but those of the bench."""
ANSWER_POLICY = (
    "sandbox allow-scripts allow-downloads allow-popups; default-src 'none'; script-src"
    " 'unsafe-inline'; style-src 'unsafe-inline'; img-src data:; media-src data: blob:;"
    " frame-ancestors 'self'"
)
"""Reports are pages complete in themselves; in a sandbox they are of no origin and reach nothing,
whatever a design of another's may hold."""


@dataclass(frozen=True)
class Pass:
    """Who may come in, and under which names.

    Attributes
    ----------
    port : int
    token : str
    """

    port: int
    token: str = field(default_factory=lambda: secrets.token_urlsafe(32), repr=False)

    @property
    def cookie(self) -> str:
        """Name of the cookie: browsers do not keep those of different ports apart."""
        return f"roundcast-bench-{self.port}"

    @property
    def hosts(self) -> tuple[str, ...]:
        """What the header Host may say."""
        return tuple(f"{name}:{self.port}" for name in NAMES)

    @property
    def address(self) -> str:
        """What to open in a browser."""
        return f"http://127.0.0.1:{self.port}/?token={self.token}"

    def knows(self, given: str) -> bool:
        """Whether this is the token; takes as long for a wrong one."""
        return hmac.compare_digest(given.encode(), self.token.encode())


class Guard:
    """Lets in requests of the owner's own browser only.

    Parameters
    ----------
    app : ASGI application
    let_in : Pass
    """

    def __init__(self, app: ASGIApp, let_in: Pass) -> None:
        self._app, self._pass = app, let_in

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer with 403 what is not the owner's."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        refusal = self._refusal(scope)
        if refusal is not None:
            await refusal(scope, receive, _with_headers(send, PAGE_POLICY))
            return
        answers = scope["path"].startswith("/answers/")
        policy = ANSWER_POLICY if answers else PAGE_POLICY
        await self._app(scope, receive, _with_headers(send, policy))

    def _refusal(self, scope: Scope) -> PlainTextResponse | RedirectResponse | None:
        headers = Headers(scope=scope)
        if headers.getlist("host") not in [[host] for host in self._pass.hosts]:
            return _forbidden("this is no name of the bench")
        if not self._is_own(scope["method"], headers):
            return _forbidden("asked from another page")
        given = parse_qs(scope["query_string"].decode("latin-1")).get("token")
        if scope["path"] == "/" and given and self._pass.knows(given[0]):
            inside = RedirectResponse("/", status_code=303)
            inside.set_cookie(
                self._pass.cookie, self._pass.token, httponly=True, samesite="strict", path="/"
            )
            return inside
        cookies = cookie_parser(headers.get("cookie", ""))
        if not self._pass.knows(cookies.get(self._pass.cookie, "")):
            return _forbidden("open the address that the terminal printed")
        return None

    def _is_own(self, method: str, headers: Headers) -> bool:
        """Whether a request comes from a page of the bench: what changes something must say so."""
        origin = headers.get("origin")
        own = tuple(f"http://{host}" for host in self._pass.hosts)
        if origin is None:
            return method in SAFE and headers.get("sec-fetch-site", "none") in (
                "none",
                "same-origin",
            )
        return origin in own


def _forbidden(why: str) -> PlainTextResponse:
    return PlainTextResponse(f"403: {why}\n", status_code=403)


def _with_headers(send: Send, policy: str) -> Send:
    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            headers["Content-Security-Policy"] = policy
            headers["X-Content-Type-Options"] = "nosniff"
            headers["Referrer-Policy"] = "no-referrer"
            headers["Cross-Origin-Opener-Policy"] = "same-origin"
            headers["Cross-Origin-Resource-Policy"] = "same-origin"
            headers.setdefault("Cache-Control", "no-store")
        await send(message)

    return sent

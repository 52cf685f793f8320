"""Who may speak to the page, and how much they may say: this computer's browser, from the page itself, in bounds."""

from __future__ import annotations

import hmac
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.responses import PlainTextResponse

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

#: Bodies of forms, and of drops: the largest recording that is read (256 MiB) and room for a few more in one drop.
MOST_FORM_BYTES = 64 * 2**10
MOST_DROP_BYTES = 2**30
DROP = "/recordings"
NAMES = ("127.0.0.1", "localhost")
#: Only our own files run or are shown; a page from elsewhere cannot frame this one.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "frame-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
#: Results hold text from recordings: their pages and pictures run nothing and have no right to this page.
POLICY_OF_RESULTS = "sandbox; frame-ancestors 'self'"
#: A page of the results may run the one script whose hash its own policy names: it copies what is shown.
POLICY_OF_PAGES = "sandbox allow-scripts; frame-ancestors 'self'"
#: The map's own policy lets its own scripts run by their hashes and fetches nothing. It has no sandbox: a frame of
#: another origin is not laid out by some browsers before it is looked at, and would stay empty.
POLICY_OF_MAP = "connect-src 'none'; object-src 'none'; form-action 'none'; base-uri 'none'; frame-ancestors 'self'"


class BodyTooLargeError(HTTPException):
    """More was sent than is taken."""

    def __init__(self, most_bytes: int) -> None:
        super().__init__(413, _too_large(most_bytes))


def _too_large(most_bytes: int) -> str:
    size = f"{most_bytes // 2**20} MiB" if most_bytes >= 2**20 else f"{most_bytes // 2**10} KiB"
    return f"More than {size} at once; nothing of it was kept. Drop less at a time, or put the files into the folder."


class Guard:
    """Refuse foreign hosts and origins, bound what is sent, and set the same headers on every answer."""

    def __init__(self, app: ASGIApp, port: int) -> None:
        self.app = app
        self.hosts = {f"{name}:{port}" for name in NAMES} | (set(NAMES) if port == 80 else set())

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request, as ASGI has it."""
        if scope["type"] != "http":
            if scope["type"] == "websocket":
                await send({"type": "websocket.close", "code": 1008})
            elif scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return
        most_bytes = MOST_DROP_BYTES if scope["path"] == DROP else MOST_FORM_BYTES
        headers = Headers(scope=scope)
        refusal = self._refusal(scope["method"], headers, most_bytes)
        if refusal:
            status, why = refusal
            await PlainTextResponse(why + "\n", status)(scope, receive, _with_headers(send))
            return
        await self.app(scope, _bounded(receive, most_bytes), _with_headers(send))

    def _refusal(self, method: str, headers: Headers, most_bytes: int) -> tuple[int, str] | None:
        if headers.get("host", "").lower() not in self.hosts:
            return 421, "This page answers to 127.0.0.1 and localhost only."
        if self._is_foreign(method, headers):
            return 403, "Another site sent this; only the page itself may."
        length = headers.get("content-length", "0")
        if not (length.isascii() and length.isdigit()):
            return 400, "The length of the request is no number."
        if int(length[:20]) > most_bytes:
            return 413, _too_large(most_bytes)
        return None

    def _is_foreign(self, method: str, headers: Headers) -> bool:
        """Whether another page caused this request: a link to the page may be followed, nothing else may be done."""
        site, origin = headers.get("sec-fetch-site"), headers.get("origin")
        if method in ("GET", "HEAD"):
            return site not in (None, "none", "same-origin") and headers.get("sec-fetch-mode") != "navigate"
        if origin is None:
            return site != "same-origin"
        return not self._is_own(origin) or site not in (None, "same-origin")

    def _is_own(self, origin: str) -> bool:
        try:
            parts = urlsplit(origin)
        except ValueError:
            return False
        return parts.scheme == "http" and parts.netloc.lower() in self.hosts


def same_token(sent: object, token: str) -> bool:
    """Whether the anti-forgery token that was sent is the page's, told in constant time."""
    return isinstance(sent, str) and hmac.compare_digest(sent.encode("utf-8", "replace"), token.encode())


def _bounded(receive: Receive, most_bytes: int) -> Receive:
    got = 0

    async def counted() -> Message:
        nonlocal got
        message = await receive()
        got += len(message.get("body", b""))
        if got > most_bytes:
            raise BodyTooLargeError(most_bytes)
        return message

    return counted


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            headers.setdefault("Content-Security-Policy", POLICY)
            headers["X-Content-Type-Options"] = "nosniff"
            headers["Referrer-Policy"] = "same-origin"
            headers["Cross-Origin-Resource-Policy"] = "same-origin"
            headers["Cross-Origin-Opener-Policy"] = "same-origin"
            headers.setdefault("Cache-Control", "no-store")
        await send(message)

    return sending

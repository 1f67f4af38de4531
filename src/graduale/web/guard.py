"""Who may ask: only pages of this very address, only so much at once; and what a page may load."""

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from graduale.words.catalogue import say

MOST_BYTES = 1_000_000
_NAMES = ("127.0.0.1", "localhost", "[::1]")
_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "font-src 'self'; connect-src 'self'; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'"
)


class Guard:
    """Refuses other host names (a name that was made to point here), other origins, and bodies
    beyond `MOST_BYTES`, before anything reads them."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        wrong = _wrong(scope["method"], headers)
        if wrong is not None:
            await JSONResponse({"sentence": wrong[1]}, wrong[0])(scope, receive, send)
            return
        await self.app(scope, _capped(receive), _marked(send))


class TooLarge(Exception):
    """A body that goes on beyond what its head said, or beyond the limit."""


def _wrong(method: str, headers: Headers) -> tuple[int, str] | None:
    host = headers.get("host", "")
    if host.rsplit(":", 1)[0] not in _NAMES:
        return 403, say("bench.other_host")
    origin = headers.get("origin")
    foreign = origin is not None and origin != f"http://{host}"
    if foreign or (
        method == "POST" and headers.get("sec-fetch-site", "same-origin") == "cross-site"
    ):
        return 403, say("bench.other_host")
    length = headers.get("content-length", "0")
    if not length.isdigit() or int(length) > MOST_BYTES:
        return 413, say("bench.too_large")
    return None


def _capped(receive: Receive) -> Receive:
    seen = 0

    async def capped() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        if seen > MOST_BYTES:
            raise TooLarge
        return message

    return capped


def _marked(send: Send) -> Send:
    async def marked(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            headers["content-security-policy"] = _POLICY
            headers["x-content-type-options"] = "nosniff"
            headers["referrer-policy"] = "no-referrer"
            headers.setdefault("cache-control", "no-store")
        await send(message)

    return marked

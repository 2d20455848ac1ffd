"""Who may ask: this machine's own browser, with the token, from the page itself.

A server on the loopback address can be reached by every program of the machine, and by
any web page that its browser shows. Host and Origin keep such pages out, also when
their name is made to point here; the token keeps other people of the machine out.
"""

from collections.abc import Iterable
from urllib.parse import parse_qs

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from harmonise.page.answers import refused
from harmonise.page.site import PageAddress

_OWN = ("script", "style", "font", "img", "media", "connect", "manifest")
"""What the page loads, from itself alone."""
_NEVER = ("default-src", "base-uri", "form-action", "frame-ancestors")
_POLICY = [*(f"{it} 'none'" for it in _NEVER), *(f"{it}-src 'self'" for it in _OWN)]
_NO_ENTRY = (
    "Open the whole address that was printed when the page was started, with the token "
    "at its end.\n"
)
HEADERS = {
    "Content-Security-Policy": "; ".join(_POLICY),
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(), midi=(self)",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
}
"""Headers of every answer; nothing from outside is ever loaded."""


class Guard:
    """Lets in what may come in, and puts the safety headers on every answer."""

    def __init__(self, app: ASGIApp, door: PageAddress) -> None:
        """Keep the application and the door."""
        self._app, self._door = app, door

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def send_safely(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers[name] = value
                headers.setdefault("Cache-Control", "no-store")
            await send(message)

        fault = self._fault(scope)
        await (fault or self._app)(scope, receive, send_safely)

    def _fault(self, scope: Scope) -> Response | None:
        """Return the refusal of a request that may not come in."""
        headers = Headers(scope=scope)
        if headers.getlist("host") not in [[host] for host in self._door.hosts]:
            return refused(403, "This page is asked for by another name than its own.")
        origins = [f"http://{host}" for host in self._door.hosts]
        if not all(origin in origins for origin in headers.getlist("origin")):
            return refused(403, "Another web page may not ask this one.")
        if scope["method"] == "POST" and not self._fits(headers.getlist("x-token")):
            return refused(403, "The token is not this page's. Open its address again.")
        if scope["method"] in ("GET", "HEAD") and scope["path"] == "/":
            query = parse_qs(scope["query_string"].decode("latin-1"))
            if not self._fits(query.get("token", [])):
                return PlainTextResponse(_NO_ENTRY, 403)
        return None

    def _fits(self, found: Iterable[str]) -> bool:
        tokens = list(found)
        return len(tokens) == 1 and self._door.fits(tokens[0])


class TooLargeError(Exception):
    """The body of a request is larger than allowed."""


async def body_of(request: Request, most: int) -> bytes:
    """Return the body of a request, and stop reading as soon as it is too large.

    Raises:
        TooLargeError: If it is.
    """
    told = request.headers.get("content-length", "")
    if told.isdigit() and int(told[:20]) > most:
        raise TooLargeError
    parts: list[bytes] = []
    size = 0
    async for part in request.stream():
        size += len(part)
        if size > most:
            raise TooLargeError
        parts.append(part)
    return b"".join(parts)

"""The server: which path leads where, and what becomes of every request."""

import asyncio
from collections.abc import Awaitable, Callable

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route
from starlette.types import ASGIApp

from harmonise.page.asked import parse_json
from harmonise.page.door import Door
from harmonise.page.endpoints import ENDPOINTS, Endpoint
from harmonise.page.guard import Guard, body_of
from harmonise.page.refusals import refusal_of
from harmonise.page.replies import refused
from harmonise.page.site import Site
from harmonise.page.statics import (
    MISSING,
    file_reply,
    index_reply,
    sample_list,
    sample_reply,
)


def make_app(door: Door, site: Site) -> ASGIApp:
    """Return the server.

    Args:
        door: Where it is and who may come in.
        site: Its workshops.
    """
    routes = [
        Route("/", index_reply),
        Route("/files/{name}", file_reply),
        Route("/samples/index.json", sample_list),
        Route("/samples/{name}", sample_reply),
        *(
            Route(path, _posted(site, endpoint), methods=["POST"])
            for path, endpoint in ENDPOINTS.items()
        ),
    ]
    app = Starlette(routes=routes, exception_handlers={404: _missing, 405: _missing})
    return Guard(app, door)


async def _missing(_: Request, error: Exception) -> Response:
    return refused(getattr(error, "status_code", 404), MISSING)


def _posted(site: Site, endpoint: Endpoint) -> Callable[[Request], Awaitable[Response]]:
    """Return an endpoint that tells whatever goes wrong in a sentence."""

    async def answer(request: Request) -> Response:
        try:
            async with asyncio.timeout(site.limits.seconds):
                body = await body_of(request, site.limits.bytes)
                return await endpoint(site, parse_json(body))
        except Exception as error:  # noqa: BLE001 - no fault of ours ends the server
            return refusal_of(error)

    return answer

"""What the page is told when something goes wrong.

What the page may ask for by POST: each endpoint from its JSON to its answer.

The server: which path leads where, and what becomes of every request.
"""

import asyncio
import sys
from collections.abc import Awaitable, Callable

from starlette.applications import Starlette
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response
from starlette.routing import Route
from starlette.types import ASGIApp

from harmonise.errors import BrokenPromiseError, HarmoniseError
from harmonise.notation.formats import LARGEST
from harmonise.page import lesson_files as sheets
from harmonise.page import requests as asked
from harmonise.page.access import Guard, TooLargeError, body_of
from harmonise.page.answers import (
    Json,
    attached,
    failure,
    refused,
    slug,
    told,
    told_arrangement,
    told_tunes,
)
from harmonise.page.downloads import KINDS, made
from harmonise.page.drawing import engraved
from harmonise.page.memory import arranged, tunes_in
from harmonise.page.offers import controls
from harmonise.page.requests import MalformedError, parse_json
from harmonise.page.site import BusyError, PageAddress, Site
from harmonise.page.statics import (
    MISSING,
    file_reply,
    index_reply,
    sample_list,
    sample_reply,
)

_REFUSALS: dict[type[Exception], tuple[int, str]] = {
    ClientDisconnect: (400, "The request broke off."),
    TooLargeError: (413, "This is too large. Take one tune out of it."),
    TimeoutError: (504, "This took too long. Try a shorter tune."),
}
_OURS = "Something went wrong here, and the fault is ours. Try a smaller change."


def refusal_of(error: Exception) -> Response:
    """Return the answer to a request that failed."""
    if isinstance(error, HarmoniseError):
        status = 500 if isinstance(error, BrokenPromiseError) else 422
        return told(failure(str(error), error), status)
    if isinstance(error, MalformedError):
        return refused(400, str(error))
    if isinstance(error, BusyError):
        sentence = f"Busy just now. Ask again in {error.seconds} seconds."
        return refused(429, sentence, error.seconds)
    for kind, (status, sentence) in _REFUSALS.items():
        if isinstance(error, kind):
            return refused(status, sentence)
    sys.stderr.write(f"harmonise page: {error!r}\n")
    return refused(500, _OURS)


Endpoint = Callable[[Site, object], Awaitable[Response]]


async def _offers(site: Site, value: object) -> Response:
    asked.parse_nothing(value)
    del site
    lists: Json = {
        control.name: [choice._asdict() for choice in control.choices]
        for control in controls().values()
    }
    files = [
        {"kind": kind.name, "title": kind.title, "ending": kind.ending}
        for kind in KINDS.values()
    ]
    return told(
        {
            **lists,
            "drills": sheets.drill_choices(),
            "worksheets": sheets.worksheet_choices(),
            "files": files,
            "limits": {"bytes": LARGEST},
        }
    )


async def _read(site: Site, value: object) -> Response:
    data = asked.parse_read(value)
    return told(await site.arranger.do(lambda: told_tunes(tunes_in(data))))


async def _arrange(site: Site, value: object) -> Response:
    wanted = asked.parse_asked(value)
    # Arranged here, so that the engraver finds it done.
    await site.arranger.do(arranged, wanted)
    done, systems, marks = await site.engraver.do(engraved, wanted)
    answer = await site.arranger.do(told_arrangement, done, systems, marks)
    return told(answer)


async def _file(site: Site, value: object) -> Response:
    wanted = asked.parse_file(value, tuple(KINDS))
    kind = KINDS[wanted.kind]
    done = await site.arranger.do(arranged, wanted.tune)
    place = site.engraver if kind.engraves else site.arranger
    content = await place.do(made, kind, done, wanted)
    name = f"{slug(done.tune.title)}{kind.suffix}{kind.ending}"
    return attached(content, name, kind.media)


async def _drill(site: Site, value: object) -> Response:
    wanted = asked.parse_drill(value)
    place = site.engraver if wanted.kind == "pdf" else site.arranger
    content = await place.do(sheets.drill, wanted)
    media = KINDS[wanted.kind].media
    name = slug(f"drill {' '.join(wanted.names)}")
    return attached(content, f"{name}{sheets.ENDINGS[wanted.kind]}", media)


async def _worksheet(site: Site, value: object) -> Response:
    wanted = asked.parse_worksheet(value, tuple(sheets.WORKSHEETS))
    content = await site.engraver.do(sheets.worksheet, wanted)
    name = f"{wanted.worksheet}{'-answers' if wanted.answers else ''}.pdf"
    return attached(content, name, "application/pdf")


ENDPOINTS: dict[str, Endpoint] = {
    "/offers": _offers,
    "/read": _read,
    "/arrange": _arrange,
    "/file": _file,
    "/drill": _drill,
    "/worksheet": _worksheet,
}
"""What is asked for by POST."""


def make_app(door: PageAddress, site: Site) -> ASGIApp:
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

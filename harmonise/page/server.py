"""The server: which path leads where, and what becomes of every request."""

import asyncio
import sys
from collections.abc import Awaitable, Callable
from functools import partial
from typing import Any, NamedTuple

from starlette.applications import Starlette
from starlette.requests import ClientDisconnect, Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp

from harmonise.errors import BrokenPromiseError, HarmoniseError
from harmonise.lessons.versions import VERSIONS
from harmonise.page.answers import (
    Drawn,
    attached,
    drawn_lines,
    failure,
    json_reply,
    refused,
    slug,
    told_arrangement,
    told_tunes,
)
from harmonise.page.by_ear import ear_answer, ear_question
from harmonise.page.class_work import slips, told_class
from harmonise.page.drawing import engraved, lines_of
from harmonise.page.guard import Guard
from harmonise.page.keeping import carry, format_work, parse_work, title_of_work
from harmonise.page.lesson_requests import (
    DrillRequest,
    EarAnswerRequest,
    EarRequest,
    MarkRequest,
    PracticeRequest,
    SlipsRequest,
    WorksheetRequest,
)
from harmonise.page.making import arrangement_of, made
from harmonise.page.offers import FILES, offers
from harmonise.page.practice import practice_of_drill, practice_of_tune
from harmonise.page.requests import (
    ArrangeRequest,
    Asked,
    CarryRequest,
    DrawRequest,
    FileRequest,
    HearRequest,
    MalformedError,
    OffersRequest,
    OpenRequest,
    ReadRequest,
    TapRequest,
    parse_request,
)
from harmonise.page.sheets import drill, worksheet
from harmonise.page.site import BusyError, Limits, PageAddress, Site
from harmonise.page.statics import (
    MISSING,
    file_reply,
    index_reply,
    sample_list,
    sample_reply,
)
from harmonise.page.sung_in import heard_text
from harmonise.page.tapping import tapped

RECORDED = 14_000_000
"""Most bytes of a request with a recording: five minutes of one channel at 16 kHz."""


class TooLargeError(Exception):
    """The body of a request is larger than allowed."""


class TooSlowError(Exception):
    """The body of a request has not come in time."""


async def body_of(request: Request, limits: Limits) -> bytes:
    """Return the body of a request, and stop reading as soon as it is too large.

    Raises:
        TooLargeError: If it is.
        TooSlowError: If it does not come.
    """
    try:
        async with asyncio.timeout(limits.patience):
            return await _read_body(request, limits.bytes)
    except TimeoutError:
        raise TooSlowError from None


async def _read_body(request: Request, most: int) -> bytes:
    length = request.headers.get("content-length", "")
    if length.isdigit() and int(length[:20]) > most:
        raise TooLargeError
    parts: list[bytes] = []
    size = 0
    async for part in request.stream():
        size += len(part)
        if size > most:
            raise TooLargeError
        parts.append(part)
    return b"".join(parts)


_REFUSALS: dict[type[Exception], tuple[int, str]] = {
    ClientDisconnect: (400, "The request broke off."),
    TooLargeError: (413, "This is too large. Take one tune out of it."),
    TooSlowError: (408, "The request did not come in time. Ask again."),
    TimeoutError: (504, "This took too long. Try a shorter tune."),
}
_OURS = "Something went wrong here, and the fault is ours. Try a smaller change."


def refusal_of(error: Exception) -> Response:
    """Return the answer to a request that failed."""
    if isinstance(error, HarmoniseError):
        status = 500 if isinstance(error, BrokenPromiseError) else 422
        return json_reply(failure(str(error), error), status)
    if isinstance(error, MalformedError):
        return refused(400, str(error))
    if isinstance(error, BusyError):
        (seconds,) = error.args
        return refused(429, f"Busy just now. Ask again in {seconds} seconds.", seconds)
    for kind, (status, sentence) in _REFUSALS.items():
        if isinstance(error, kind):
            return refused(status, sentence)
    sys.stderr.write(f"harmonise page: {error!r}\n")
    return refused(500, _OURS)


class Endpoint(NamedTuple):
    """What can be asked for by POST, and how it is answered."""

    request: type[Asked]
    answer: Callable[[Site, Any], Awaitable[Response]]
    bytes: int = 0
    """Largest body, where it may be larger than that of other requests."""


async def _offers(site: Site, asked: OffersRequest) -> Response:
    del asked
    return json_reply(offers(site.shared, site.usual))


async def _read(site: Site, asked: ReadRequest) -> Response:
    return json_reply(await site.arranger.do(told_tunes, asked))


async def _tap(site: Site, asked: TapRequest) -> Response:
    del site  # So short a job is not worth a place in a queue.
    return json_reply(tapped(asked))


async def _hear(site: Site, asked: HearRequest) -> Response:
    return json_reply(await site.arranger.do(heard_text, asked))


async def _draw(site: Site, asked: DrawRequest) -> Response:
    # A picture needs no reasons, and is seen sooner without them.
    plain = partial(arrangement_of, explained=False)
    await site.arranger.do(plain, asked.arranging)
    lines = await site.engraver.do(lines_of, asked)
    return json_reply(Drawn(drawn_lines(asked, lines)))


async def _arrange(site: Site, asked: DrawRequest) -> Response:
    arrangement = await site.arranger.do(arrangement_of, asked.arranging)
    drawn = await site.engraver.do(engraved, asked)
    told = await site.arranger.do(told_arrangement, asked, arrangement, drawn)
    return json_reply(told)


async def _file(site: Site, asked: FileRequest) -> Response:
    kind = FILES[asked.kind]
    arrangement = await site.arranger.do(arrangement_of, asked.arranging)
    place = site.engraver if kind.engraves else site.arranger
    content = await place.do(made, kind, arrangement, asked)
    name = f"{slug(arrangement.tune.title)}{kind.suffix}{kind.ending}"
    return attached(content, name, kind.media)


async def _drill(site: Site, asked: DrillRequest) -> Response:
    kind = FILES[asked.kind]
    place = site.engraver if kind.engraves else site.arranger
    content = await place.do(drill, asked)
    name = slug(f"drill {' '.join(asked.names)}")
    return attached(content, f"{name}{kind.ending}", kind.media)


async def _worksheet(site: Site, asked: WorksheetRequest) -> Response:
    made = await site.engraver.do(worksheet, asked)
    letter = VERSIONS[asked.sheet.version - 1]
    name = f"{slug(made.title)}-{asked.sheet.kind.value}-{letter}{made.suffix}"
    return attached(made.content, name, made.media)


async def _practice(site: Site, asked: DrawRequest) -> Response:
    return json_reply(await site.engraver.do(practice_of_tune, asked))


async def _practice_drill(site: Site, asked: PracticeRequest) -> Response:
    return json_reply(await site.engraver.do(practice_of_drill, asked))


async def _ear(site: Site, asked: EarRequest) -> Response:
    return json_reply(await site.arranger.do(ear_question, asked))


async def _ear_answer(site: Site, asked: EarAnswerRequest) -> Response:
    return json_reply(await site.engraver.do(ear_answer, asked))


async def _carry(site: Site, asked: CarryRequest) -> Response:
    return json_reply(await site.arranger.do(carry, asked))


async def _save(site: Site, asked: ArrangeRequest) -> Response:
    content = await site.arranger.do(format_work, asked)
    name = f"{slug(title_of_work(content))}-work.txt"
    return attached(content.encode(), name, "text/plain; charset=utf-8")


async def _open(site: Site, asked: OpenRequest) -> Response:
    return json_reply(await site.arranger.do(parse_work, asked.text))


async def _mark(site: Site, asked: MarkRequest) -> Response:
    return json_reply(await site.arranger.do(told_class, asked))


async def _slips(site: Site, asked: SlipsRequest) -> Response:
    return attached(*await site.engraver.do(slips, asked))


ENDPOINTS = {
    "/offers": Endpoint(OffersRequest, _offers),
    "/read": Endpoint(ReadRequest, _read),
    "/tap": Endpoint(TapRequest, _tap),
    "/hear": Endpoint(HearRequest, _hear, RECORDED),
    "/draw": Endpoint(DrawRequest, _draw),
    "/arrange": Endpoint(DrawRequest, _arrange),
    "/file": Endpoint(FileRequest, _file),
    "/drill": Endpoint(DrillRequest, _drill),
    "/worksheet": Endpoint(WorksheetRequest, _worksheet),
    "/practice": Endpoint(DrawRequest, _practice),
    "/practice-drill": Endpoint(PracticeRequest, _practice_drill),
    "/ear": Endpoint(EarRequest, _ear),
    "/ear-answer": Endpoint(EarAnswerRequest, _ear_answer),
    "/carry": Endpoint(CarryRequest, _carry),
    "/save": Endpoint(ArrangeRequest, _save),
    "/open": Endpoint(OpenRequest, _open),
    "/mark": Endpoint(MarkRequest, _mark),
    "/slips": Endpoint(SlipsRequest, _slips),
}
"""What is asked for by POST."""


def make_app(site: Site, *doors: PageAddress) -> ASGIApp:
    """Return the server.

    Args:
        site: Its workshops.
        doors: Where it is and who may come in; the first is this machine's own.
    """

    async def same(request: Request) -> Response:
        return PlainTextResponse(doors[0].seal(request.path_params["nonce"]))

    routes = [
        Route("/", index_reply),
        Route("/files/{name}", file_reply),
        Route("/samples/index.json", sample_list),
        Route("/samples/{name}", sample_reply),
        # A second start asks here whether the program that runs is its user's own.
        Route("/same/{nonce}", same),
        *(
            Route(path, _posted(site, endpoint), methods=["POST"])
            for path, endpoint in ENDPOINTS.items()
        ),
    ]
    app = Starlette(routes=routes, exception_handlers={404: _missing, 405: _missing})
    # A name with a slash too many is none of ours, and needs the sentence that says so.
    app.router.redirect_slashes = False
    return Guard(app, doors)


async def _missing(_: Request, error: Exception) -> Response:
    return refused(getattr(error, "status_code", 404), MISSING)


def _posted(site: Site, endpoint: Endpoint) -> Callable[[Request], Awaitable[Response]]:
    """Return an endpoint that tells whatever goes wrong in a sentence."""

    async def answer(request: Request) -> Response:
        try:
            async with asyncio.timeout(site.limits.seconds):
                limits = site.limits
                most = max(endpoint.bytes, limits.bytes)
                body = await body_of(request, limits._replace(bytes=most))
                asked = parse_request(body, endpoint.request)
                return await endpoint.answer(site, asked)
        except Exception as error:  # noqa: BLE001 - no fault of ours ends the server
            return refusal_of(error)

    return answer

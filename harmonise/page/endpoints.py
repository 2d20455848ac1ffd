"""What the page may ask for by POST: each endpoint from its JSON to its answer."""

from collections.abc import Awaitable, Callable

from starlette.responses import Response

from harmonise.notation.reading.reader import LARGEST
from harmonise.page import asked, sheets
from harmonise.page.answers import Json, told_arrangement, told_tunes
from harmonise.page.engraver import engraved
from harmonise.page.jobs import arranged, tunes_in
from harmonise.page.kinds import KINDS, made
from harmonise.page.offers import controls
from harmonise.page.replies import attached, slug, told
from harmonise.page.site import Site

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

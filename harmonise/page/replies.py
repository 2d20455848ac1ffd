"""Answers that every part of the server gives: JSON, files, refusals."""

import json
import re

from starlette.responses import Response

from harmonise.page.answers import Json, failure


def told(value: Json, status: int = 200) -> Response:
    """Return a value as JSON."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"))
    # A text may hold half a pair of Unicode surrogates; JSON of a page cannot.
    return Response(text.encode("utf-8", "replace"), status, None, "application/json")


def refused(status: int, sentence: str, wait: int = 0) -> Response:
    """Return a refusal in one sentence.

    Args:
        status: Its HTTP status.
        sentence: What is wrong.
        wait: Seconds after which it is worth asking again; 0 for none.
    """
    reply = told(failure(sentence), status)
    if wait:
        reply.headers["Retry-After"] = str(wait)
    return reply


def attached(content: bytes, name: str, media: str) -> Response:
    """Return a file to keep.

    Args:
        content: What it holds.
        name: Its name; letters, digits, hyphens and full stops.
        media: Its media type.
    """
    reply = Response(content, 200, None, media)
    reply.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return reply


def slug(title: str) -> str:
    """Return a title as the name of a file, without its ending.

    >>> slug("The Water of Tyne!")
    'the-water-of-tyne'
    """
    return re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")[:60] or "tune"

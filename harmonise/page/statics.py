"""Files that the page is made of: its own, the fonts of the music, the piano's sound.

A name is looked up among the files that are there and is never used as a path.
"""

import json
from functools import cache
from pathlib import Path

from starlette.requests import Request
from starlette.responses import Response

from harmonise import notation
from harmonise.notation.sound.recording import samples
from harmonise.page.answers import refused

_OWN = Path(__file__).with_name("files")
_FONTS = Path(notation.__file__).parent / "paper/fonts"
_MEDIA = {
    ".css": "text/css; charset=utf-8",
    ".html": "text/html; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".ttf": "font/ttf",
    ".wav": "audio/wav",
}
_LASTING = (".ttf", ".wav")
MISSING = "There is nothing of that name here."


def index_reply(request: Request) -> Response:
    """Return index.html."""
    del request
    return _found(_files(), "index.html")


def file_reply(request: Request) -> Response:
    """Return a file of the page, or a font of the music."""
    return _found(_files(), request.path_params["name"])


def sample_reply(request: Request) -> Response:
    """Return a recorded note of the piano, as WAV."""
    sounds = {sample.path.name: sample.path for sample in samples()}
    return _found(sounds, request.path_params["name"])


def sample_list(request: Request) -> Response:
    """Return the sounds of the piano and the keys that they are of."""
    del request
    rows = [{"file": sample.path.name, "midi": sample.midi} for sample in samples()]
    return Response(json.dumps(rows), 200, None, "application/json")


@cache
def _files() -> dict[str, Path]:
    """Return the files of the page that may be seen, by their names."""
    paths = (path for folder in (_OWN, _FONTS) for path in folder.iterdir())
    return {path.name: path for path in paths if path.suffix in _MEDIA}


def _found(paths: dict[str, Path], name: str) -> Response:
    if name not in paths:
        return refused(404, MISSING)
    path = paths[name]
    reply = Response(path.read_bytes(), 200, None, _MEDIA[path.suffix])
    if path.suffix in _LASTING:
        reply.headers["Cache-Control"] = "max-age=3600"
    return reply

"""Files that the page is made of: its own, the fonts of the music, the piano's sound.

A name is looked up among the files that are there and is never used as a path.
"""

import json
from pathlib import Path

from starlette.requests import Request
from starlette.responses import Response

from harmonise import notation
from harmonise.notation.sound.samples import samples
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
    """Return the page itself."""
    del request
    return _found("index.html", _OWN)


def file_reply(request: Request) -> Response:
    """Return a file of the page, or a font of the music."""
    name = request.path_params["name"]
    folder = _FONTS if name in _names(_FONTS, (".ttf",)) else _OWN
    return _found(name, folder)


def sample_reply(request: Request) -> Response:
    """Return a sound of the piano."""
    name = request.path_params["name"]
    for sample in samples():
        if sample.path.name == name:
            return _found(name, sample.path.parent)
    return refused(404, MISSING)


def sample_list(request: Request) -> Response:
    """Return the sounds of the piano and the keys that they are of."""
    del request
    rows = [{"file": own.path.name, "midi": own.midi} for own in samples()]
    return Response(json.dumps(rows), 200, None, "application/json")


def _names(folder: Path, endings: tuple[str, ...]) -> set[str]:
    """Return the names of the files of a folder that may be seen."""
    if not folder.is_dir():
        return set()
    return {own.name for own in folder.iterdir() if own.suffix in endings}


def _found(name: str, folder: Path) -> Response:
    if name not in _names(folder, tuple(_MEDIA)):
        return refused(404, MISSING)
    path = folder / name
    reply = Response(path.read_bytes(), 200, None, _MEDIA[path.suffix])
    if path.suffix in _LASTING:
        reply.headers["Cache-Control"] = "max-age=3600"
    return reply

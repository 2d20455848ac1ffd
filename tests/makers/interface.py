"""The page's interface as OpenAPI, made from the classes of its requests and answers.

    python tests/makers/interface.py

writes it anew beside the tests that hold the running server against it. So a change to
the interface is seen by whoever reads the change.
"""

import json
from pathlib import Path
from typing import Any

import msgspec

from harmonise.page.answers import (
    Arranged,
    CarriedChords,
    Drawn,
    Failure,
    OpenedWork,
    ReadTunes,
)
from harmonise.page.by_ear import EarAnswer, EarQuestion
from harmonise.page.class_work import Marked
from harmonise.page.offers import FILES, Offers
from harmonise.page.practice import Practice
from harmonise.page.requests import described
from harmonise.page.server import ENDPOINTS
from harmonise.page.sung_in import HeardText
from harmonise.page.tapping import TappedText

WRITTEN = Path(__file__).parent.parent / "page" / "interface.json"
_ANSWERS: dict[str, type[msgspec.Struct]] = {
    "/offers": Offers,
    "/read": ReadTunes,
    "/tap": TappedText,
    "/hear": HeardText,
    "/mark": Marked,
    "/draw": Drawn,
    "/arrange": Arranged,
    "/practice": Practice,
    "/ear": EarQuestion,
    "/ear-answer": EarAnswer,
    "/practice-drill": Practice,
    "/carry": CarriedChords,
    "/open": OpenedWork,
}
_KINDS_OF_FILE = {
    "/file": list(FILES),
    "/drill": ["pdf", "musicxml", "midi"],
    "/worksheet": ["pdf"],
    "/save": ["text"],
    "/slips": ["pdf", "csv", "zip"],
}
_FAILURES = {
    "400": "The request is not of this shape.",
    "403": "Not the page's own address, origin or token.",
    "408": "The request did not come in time.",
    "413": "The body is too large.",
    "422": "The tune cannot be read, arranged or written; the sentence says why.",
    "429": "Too much is asked for at once.",
    "504": "It took too long.",
}


def interface() -> dict[str, Any]:
    """Return the description of all that the page may ask for by POST."""
    types: list[type[msgspec.Struct]] = [row.request for row in ENDPOINTS.values()]
    types += [*_ANSWERS.values(), Failure]
    schemas, components = msgspec.json.schema_components(
        types, schema_hook=described, ref_template="#/components/schemas/{name}"
    )
    by_type = dict(zip(types, schemas, strict=True))
    return {
        "openapi": "3.1.0",
        "info": {"title": "The local page of harmonise", "version": "1"},
        "paths": {path: {"post": _post(path, by_type)} for path in ENDPOINTS},
        "components": {"schemas": components},
    }


def _post(path: str, schemas: dict[type[msgspec.Struct], dict[str, Any]]) -> Any:  # noqa: ANN401 - JSON
    request, failure = schemas[ENDPOINTS[path].request], schemas[Failure]
    return {
        "parameters": [
            {"name": "X-Token", "in": "header", "required": True,
             "schema": {"type": "string"}}
        ],
        "requestBody": {
            "required": True, "content": {"application/json": {"schema": request}}
        },
        "responses": {
            "200": _done(path, schemas),
            **{
                status: {
                    "description": told,
                    "content": {"application/json": {"schema": failure}},
                }
                for status, told in _FAILURES.items()
            },
        },
    }  # fmt: skip


def _done(path: str, schemas: dict[type[msgspec.Struct], dict[str, Any]]) -> Any:  # noqa: ANN401 - JSON
    if path in _ANSWERS:
        content = {"application/json": {"schema": schemas[_ANSWERS[path]]}}
        return {"description": "Done.", "content": content}
    media = [_media(kind) for kind in _KINDS_OF_FILE[path]]
    return {
        "description": "The file.",
        "headers": {
            "Content-Disposition": {"required": True, "schema": {"type": "string"}}
        },
        "content": {name: {} for name in dict.fromkeys(media)},
    }


def _media(kind: str) -> str:
    others = {"csv": "text/csv", "zip": "application/zip"}
    return others.get(kind) or FILES[kind].media.partition(";")[0]


def written(value: dict[str, Any]) -> str:
    """Return a description as it is kept: a line for each path and each schema."""
    paths, schemas = value["paths"], value["components"]["schemas"]
    rows = [
        *(f'"{path}": {json.dumps(row)}' for path, row in paths.items()),
        *(f'"{name}": {json.dumps(row)}' for name, row in schemas.items()),
    ]
    return "{\n" + ",\n".join(rows) + "\n}\n"


if __name__ == "__main__":
    WRITTEN.write_text(written(interface()), "utf-8")

"""Requests that fit the described interface, and requests that do not."""

import json
import os
from typing import Any

import hypothesis
import pytest
import schemathesis
from hypothesis import given
from hypothesis import strategies as st
from makers.interface import WRITTEN, interface, written
from makers.profiles import examples
from makers.visitor import SHORT, TUNES, Visitor, dropped, typed
from schemathesis import GenerationMode
from schemathesis.checks import CHECKS, load_all_checks

from harmonise.lessons.worksheet import SheetKind
from harmonise.page.offers import FILES, offers
from harmonise.page.server import ENDPOINTS
from harmonise.page.site import Limits

INTERFACE = interface()
SCHEMAS = INTERFACE["components"]["schemas"]
API = schemathesis.openapi.from_dict(INTERFACE)
VISITOR = Visitor(limits=Limits(seconds=120))
load_all_checks()
AS_DESCRIBED: Any = CHECKS.get_by_names(
    [
        "not_a_server_error",
        "status_code_conformance",
        "content_type_conformance",
        "response_headers_conformance",
        "response_schema_conformance",
    ]
)
"""What schemathesis checks of an answer."""


TIMES_MORE = float(os.environ.get("HARMONISE_FUZZ", "1"))
"""How many times the usual number of examples are tried."""


def quickly(number: int) -> hypothesis.settings:
    """Return the settings of a search: the same in every run, and no clock in it."""
    return hypothesis.settings(
        max_examples=examples(max(1, round(number * TIMES_MORE))),
        deadline=None,
        database=None,
        derandomize=True,
        suppress_health_check=list(hypothesis.HealthCheck),
    )


def check(path: str, body: Any) -> int:  # noqa: ANN401 - any JSON
    """Ask, hold the answer against the description, and return its status."""
    case = API[path]["POST"].Case(body=body)
    reply = VISITOR.ask(path, body)
    case.validate_response(reply, checks=AS_DESCRIBED)
    return reply.status_code


def fuzz(path: str, mode: GenerationMode, examples: int) -> set[int]:
    """Ask with generated bodies; return the statuses that were seen."""
    seen: set[int] = set()

    @quickly(examples)
    @given(case=API[path]["POST"].as_strategy(generation_mode=mode))
    def ask(case: schemathesis.Case[Any]) -> None:
        if isinstance(case.body, bytes | schemathesis.core.NotSet):
            return
        seen.add(check(path, case.body))

    ask()
    return seen


@pytest.mark.parametrize("path", list(ENDPOINTS))
def test_a_request_that_fits_is_never_a_server_error(path: str) -> None:
    seen = fuzz(path, GenerationMode.POSITIVE, 20)
    assert seen <= {200, 400, 422}
    assert seen & {200, 422}


@pytest.mark.parametrize("path", list(ENDPOINTS))
def test_a_request_that_does_not_fit_is_told_so(path: str) -> None:
    seen = fuzz(path, GenerationMode.NEGATIVE, 25)
    assert seen <= {200, 400, 422}
    assert 400 in seen


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(
            st.sampled_from(
                ["source", "text", "base64", "settings", "locks", "tune", "x"]
            ),
            inner,
            max_size=5,
        )
    ),
    max_leaves=12,
)


@quickly(80)
@given(st.sampled_from(list(ENDPOINTS)), JSON)
def test_any_json_gets_a_described_answer(path: str, value: Any) -> None:  # noqa: ANN401
    body = json.dumps(value).encode()
    reply = VISITOR.send(
        "POST", path, content=body, headers={"X-Token": "a-token-for-tests"}
    )
    case = API[path]["POST"].Case(body=value)
    case.validate_response(reply, checks=AS_DESCRIBED)


TYPED = [path.read_text("utf-8") for path in sorted(TUNES.glob("*.txt"))]
SCORE = VISITOR.ask("/file", {**typed(SHORT), "kind": "musicxml"}).content
PACKED = VISITOR.ask("/file", {**typed(SHORT), "kind": "mxl"}).content
MIDI = VISITOR.ask("/file", {**typed(SHORT), "kind": "midi"}).content


@quickly(30)
@given(
    st.sampled_from([SCORE, PACKED, MIDI]),
    st.integers(0, 20_000),
    st.binary(max_size=6),
    st.integers(0, 40),
)
def test_a_damaged_upload_is_read_or_told(
    content: bytes, at: int, put: bytes, cut: int
) -> None:
    at %= len(content)
    broken = content[:at] + put + content[at + cut :]
    assert check("/arrange", dropped(broken, "broken")) in (200, 422)


@quickly(30)
@given(
    st.sampled_from(TYPED),
    st.integers(0, 2000),
    st.text("CDEFGAB#b.-0| \n:%~x'9,", max_size=6),
    st.integers(0, 6),
)
def test_a_slip_of_the_pen_is_read_or_told(
    text: str, at: int, put: str, cut: int
) -> None:
    at %= len(text)
    assert check("/read", typed(text[:at] + put + text[at + cut :])) in (200, 422)


SETTINGS = st.fixed_dictionaries(
    {},
    optional={
        "key": st.sampled_from(["", "C", "F# minor", "D dorian", "Gb", "H"]),
        "transpose": st.sampled_from(["", "A", "Bb", "F#", "Cb", "E minor", "Am"]),
        "level": st.sampled_from(["auto", "1", "2", "3", "4"]),
        "harmonicRhythm": st.sampled_from(["auto", "bar", "half-bar", "beat"]),
        "texture": st.sampled_from(["auto", "block", "held"]),
        "numerals": st.booleans(),
        "fingering": st.booleans(),
        "labels": st.sampled_from(["none", "words", "figures", "letters"]),
        "leftHand": st.sampled_from(["", "held", "waltz", "broken", "walking"]),
        "player": st.sampled_from(["", "beginner", "advanced"]),
        "voices": st.sampled_from(["", "alto", "age-4-5"]),
    },
)
CHORDS = st.sampled_from(["C", "G7", "F#dim", "Bbm7", "Ebmaj7", "V7", "ii6/5", "D/F#"])
TIMES = st.sampled_from(["0", "1", "3/2", "2", "7/3", "4", "8", "10", "31/4", "16"])
LOCKS = st.lists(
    st.fixed_dictionaries({"onset": TIMES, "end": TIMES, "chord": CHORDS}), max_size=5
)


@quickly(30)
@given(st.sampled_from([SHORT, *TYPED]), SETTINGS, LOCKS)
def test_any_settings_and_locks_are_arranged_or_told(
    text: str, settings: dict[str, object], locks: list[dict[str, str]]
) -> None:
    body = {**typed(text), "settings": settings, "locks": locks}
    assert check("/arrange", body) in (200, 400, 422)


@quickly(30)
@given(
    st.sampled_from([SHORT, *TYPED]),
    SETTINGS,
    st.sampled_from(list(FILES)),
    st.fixed_dictionaries(
        {},
        optional={
            "speed": st.floats(0.5, 4),
            "countIn": st.booleans(),
            "pedal": st.booleans(),
            "hand": st.sampled_from(["", "right", "left"]),
            "bars": st.sampled_from(["", "1", "2-3", "0-2", "3-2", "1-999"]),
            "times": st.integers(1, 2),
        },
    ),
)
def test_any_file_is_made_or_told(
    text: str, settings: dict[str, object], kind: str, playing: dict[str, object]
) -> None:
    body = {**typed(text), "settings": settings, "kind": kind, "playing": playing}
    assert check("/file", body) in (200, 422)


def test_the_description_lists_what_the_server_has() -> None:
    assert set(INTERFACE["paths"]) == set(ENDPOINTS)
    assert SCHEMAS["FileRequest"]["properties"]["kind"]["enum"] == list(FILES)
    assert set(words("SheetSettings", "kind")) == {k.value for k in SheetKind}
    for name, choices in offers().lists.items():
        # Any key may be typed, not only those that the page lists.
        if name in SCHEMAS["Settings"]["properties"] and name != "key":
            values = {choice.value for choice in choices}
            assert set(words("Settings", name)) == values
    media = INTERFACE["paths"]["/file"]["post"]["responses"]["200"]["content"]
    assert {kind.media.partition(";")[0] for kind in FILES.values()} == set(media)


def words(schema: str, name: str) -> list[str]:
    """Return the words that a field may be, its own or those of its type."""
    row: dict[str, Any] = SCHEMAS[schema]["properties"][name]
    found: list[str] = SCHEMAS.get(row.get("$ref", "").rpartition("/")[2], row)["enum"]
    return found


def test_the_description_is_the_one_that_was_read_last() -> None:
    # A change to the interface is written anew: python tests/makers/interface.py
    assert WRITTEN.read_text("utf-8") == written(INTERFACE)

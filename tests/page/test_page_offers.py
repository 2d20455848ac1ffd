import json
import re
from fractions import Fraction
from pathlib import Path
from typing import Any, get_args, get_type_hints

import pytest
from makers.visitor import DOOR, SHORT, Visitor, typed

from harmonise.form.plan import Gap, Introduction, LastVerse
from harmonise.lessons.aural import AuralKind
from harmonise.lessons.drill_copies import Version
from harmonise.lessons.worksheet import Depth, SheetKind
from harmonise.notation.paper.blocks import Paper
from harmonise.page.lesson_requests import DrillRequest, WorksheetRequest
from harmonise.page.making import arrangement_of
from harmonise.page.requests import ArrangeRequest, Source, parse_request
from harmonise.theory.arrangement import HarmonicRhythm, Labels, Texture

SETTINGS = (
    "level", "harmonicRhythm", "texture", "labels", "leftHand", "player", "voices",
)  # fmt: skip


@pytest.fixture(scope="module")
def visitor() -> Visitor:
    return Visitor()


def test_offers_are_what_the_engine_has(visitor: Visitor) -> None:
    offers = visitor.told("/offers", {})

    def values(name: str) -> list[str]:
        return [choice["value"] for choice in offers["lists"][name]]

    assert values("level") == ["", "auto", "1", "2", "3", "4"]
    assert values("harmonicRhythm") == [rhythm.value for rhythm in HarmonicRhythm]
    assert values("texture") == [texture.value for texture in Texture]
    assert values("labels") == [labels.value for labels in Labels]
    assert values("worksheet-kind") == [kind.value for kind in SheetKind]
    assert values("worksheet-depth") == [depth.value for depth in Depth]
    assert values("worksheet-labels") == ["words", "figures", "letters"]
    assert values("worksheet-about") == ["", *(kind.value for kind in AuralKind)]
    assert values("paper") == [paper.value for paper in Paper]
    assert values("drill-version") == [version.value for version in Version]
    hints = {**get_type_hints(DrillRequest), **get_type_hints(WorksheetRequest)}
    assert values("drill-kind") == list(get_args(hints["kind"]))
    # Both are two files, one after the other.
    assert values("worksheet-copy") == ["both", *get_args(hints["copy"])]
    for name, kinds in (("introduction", Introduction), ("gap", Gap)):
        assert values(name) == [kind.value for kind in kinds]
    assert values("lastVerse") == [kind.value for kind in LastVerse]
    assert offers["bytes"] == 2_000_000
    lists = [*offers["lists"].values(), offers["drills"], offers["files"]]
    assert all(choice["title"] for choices in lists for choice in choices)


def test_each_file_names_the_settings_that_do_not_reach_it(visitor: Visitor) -> None:
    """What a setting changes is seen in the file itself."""
    settings: dict[str, dict[str, object]] = {
        "fingering": {"fingering": True},
        "labels": {"labels": "words"},
        "level": {"level": "3"},
        "leftHand": {"leftHand": "broken"},
    }
    files = {file["value"]: file for file in visitor.told("/offers", {})["files"]}
    for kind in ("musicxml", "midi", "text", "abc", "chart-text", "spoken"):
        asked = {**typed(SHORT), "kind": kind}
        plain = visitor.ask("/file", asked).content
        idle = {control["value"] for control in files[kind]["idle"]}
        for control, setting in settings.items():
            made = visitor.ask("/file", {**asked, "settings": setting}).content
            assert (made == plain) is (control in idle), (kind, control)


def test_a_file_of_drills_names_the_settings_that_do_not_reach_it(
    visitor: Visitor,
) -> None:
    for file in visitor.told("/offers", {})["drillFiles"]:
        asked = {"names": ["D1"], "keys": ["C"], "kind": file["value"]}
        plain = visitor.ask("/drill", asked).content
        made = visitor.ask("/drill", {**asked, "version": "blank"}).content
        idle = [control["value"] for control in file["idle"]]
        assert idle == ["drill-version"] * (made == plain), file["value"]


def test_every_offered_choice_is_taken(visitor: Visitor) -> None:
    lists = visitor.told("/offers", {})["lists"]
    for name in SETTINGS:
        for choice in lists[name]:
            settings = {name: choice["value"]}
            reply = visitor.ask("/arrange", {**typed(SHORT), "settings": settings})
            unsuited = name == "leftHand" and "does not suit 4/4" in reply.text
            assert reply.status_code == (422 if unsuited else 200), reply.text


def test_a_left_hand_pattern_is_played(visitor: Visitor) -> None:
    asked = {**typed(SHORT), "settings": {"leftHand": "repeated"}}
    answer = visitor.told("/arrange", asked)
    left = [event["t"] for event in answer["events"] if event["hand"] == "left"]
    assert left == [float(beat) for beat in range(15)]


def test_a_page_for_a_beginner_has_fingers_and_plain_chords(visitor: Visitor) -> None:
    asked = {**typed(SHORT), "settings": {"player": "beginner"}}
    answer = visitor.told("/arrange", asked)
    assert answer["level"] == 1
    assert any('class="fing"' in line["markup"] for line in answer["svg"])


def test_singers_move_the_tune_where_it_suits_them(visitor: Visitor) -> None:
    high = {**typed(SHORT.replace("C E G E", "C6 E6 G5 E5"))}
    here = visitor.told("/arrange", high)
    there = visitor.told("/arrange", {**high, "settings": {"voices": "alto"}})

    def top(answer: Any) -> int:  # noqa: ANN401 - JSON
        found = [own["midi"] for own in answer["events"] if own["voice"] == "tune"]
        return max(map(int, found))

    assert top(there) < top(here)


@pytest.mark.parametrize(
    ("path", "value", "sentence"),
    [
        ("/offers", [], "The request has to be a JSON object."),
        ("/offers", {"x": 1}, 'The request has a field "x", which is not known.'),
        ("/read", {},
         '"source" in the request has to be an object with either "text" or "base64".'),
        ("/read", {"source": {"text": "C", "base64": ""}},
         '"source" in the request has to be an object with either "text" or "base64".'),
        ("/read", {"source": {"text": 1}}, '"text" in "source" has to be a text.'),
        ("/read", {"source": {"name": "a", "base64": "%"}},
         '"base64" in "source" has to be base64.'),
        ("/arrange", {**typed(SHORT), "tune": -1},
         '"tune" in the request has to be a whole number from 0 to 100000.'),
        ("/arrange", {**typed(SHORT), "tune": True},
         '"tune" in the request has to be a whole number from 0 to 100000.'),
        ("/arrange", {**typed(SHORT), "settings": {"level": "9"}},
         '"level" in "settings" has to be one of "", "auto", "1", "2", "3", "4".'),
        ("/arrange", {**typed(SHORT), "settings": {"numerals": "yes"}},
         '"numerals" in "settings" has to be true or false.'),
        ("/arrange", {**typed(SHORT), "locks": {}},
         '"locks" in the request has to be a list of at most 4000.'),
        ("/arrange",
         {**typed(SHORT), "locks": [{"onset": "4", "end": "2", "chord": "C"}]},
         "A lock has to end after it begins."),
        ("/arrange",
         {**typed(SHORT), "locks": [{"onset": "1/11", "end": "2", "chord": "C"}]},
         '"onset" in "locks" has to be a time in crotchets such as "7/2".'),
        ("/file", {**typed(SHORT), "kind": "exe"}, None),
        ("/file", {**typed(SHORT), "kind": "wav", "playing": {"bars": "x"}},
         '"bars" in "playing" has to be bars such as "5-8".'),
        ("/file", {**typed(SHORT), "kind": "wav", "playing": {"speed": 0}},
         '"speed" in "playing" has to be a number from 0.1 to 4.0.'),
        ("/drill", {"names": []},
         '"names" in the request has to be a list that names at least one drill.'),
        ("/worksheet", {**typed(SHORT), "sheet": {"kind": "W9"}}, None),
    ],
)  # fmt: skip
def test_a_wrong_field_is_told_in_a_sentence(
    visitor: Visitor, path: str, value: object, sentence: str | None
) -> None:
    error = visitor.refused(path, value, 400)
    if sentence:
        assert error["sentence"] == sentence


@pytest.mark.parametrize("body", [b"", b"{", b"\xff", b"[" * 100_000, b"NaN"])
def test_a_body_that_is_no_json_object_is_told(visitor: Visitor, body: bytes) -> None:
    reply = visitor.send("POST", "/read", content=body, headers={"X-Token": DOOR.token})
    assert reply.status_code == 400
    assert reply.json()["error"]["sentence"]


# Files of the page


def test_the_fonts_of_the_music_and_the_piano_are_served(visitor: Visitor) -> None:
    font = visitor.send("GET", "/files/HarmoniseMusic.ttf")
    assert (font.status_code, font.headers["content-type"]) == (200, "font/ttf")
    listed = visitor.send("GET", "/samples/index.json").json()
    assert len(listed) == 10
    for row in listed:
        sound = visitor.send("GET", f"/samples/{row['file']}")
        assert sound.headers["content-type"] == "audio/wav"
        assert sound.content.startswith(b"RIFF")
        assert 21 <= row["midi"] <= 108


def test_locks_in_a_request_are_read_as_exact_times() -> None:
    lock = {"onset": "7/2", "end": "4", "chord": "G7"}
    body = json.dumps({**typed(SHORT), "locks": [lock]}).encode()
    asked = parse_request(body, ArrangeRequest)
    times = (asked.locks[0].onset, asked.locks[0].end)
    assert times == (Fraction(7, 2), Fraction(4))
    request = ArrangeRequest(Source(SHORT))
    assert arrangement_of(request) is arrangement_of(ArrangeRequest(Source(SHORT)))


def test_no_module_of_the_page_opens_a_file_by_a_name_from_outside() -> None:
    # The disk is touched for static files and tunes, by names that are listed, and for
    # the one file that holds the user's token.
    room = Path(__file__).parents[2] / "harmonise" / "page"
    opening = re.compile(r"(?<!webbrowser\.)\bopen\(|read_bytes|read_text|\bPath\(")
    found = {p.name for p in room.glob("*.py") if opening.search(p.read_text("utf-8"))}
    assert found == {"offers.py", "statics.py", "token_file.py"}


def test_the_web_libraries_are_imported_by_the_page_alone() -> None:
    package = Path(__file__).parents[2] / "harmonise"
    web = re.compile(r"^\s*(?:import|from) (?:starlette|uvicorn|httpx)\b", re.MULTILINE)
    found = {
        path.relative_to(package).parts[0]
        for path in package.rglob("*.py")
        if web.search(path.read_text("utf-8"))
    }
    assert found == {"page"}

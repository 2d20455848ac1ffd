import io
import re
import subprocess
import wave
import zipfile
from pathlib import Path
from urllib.parse import unquote

import mido
import pytest
from makers.visitor import (
    SHORT,
    TUNES,
    Visitor,
    dropped,
    tune,
    typed,
)

from harmonise.arranging.job import arrange
from harmonise.lessons.worksheet import SheetKind
from harmonise.notation.formats import parse_tunes
from harmonise.notation.musicxml.writer import format_musicxml
from harmonise.page.offers import FILES
from harmonise.theory.arrangement import Style


@pytest.fixture(scope="module")
def visitor() -> Visitor:
    return Visitor()


def read_again(content: bytes) -> str:
    """Return the notes of a file as our own reader has them, ties and rests aside."""
    (own,) = parse_tunes(content)
    return " ".join(str(note.pitch) for note in own.sounding)


@pytest.mark.parametrize(
    "kind", ["musicxml", "mxl", "text", "abc", "lead-sheet-musicxml"]
)
@pytest.mark.parametrize("name", ["auld_lang_syne", "morning_steps", "old_hundredth"])
def test_a_file_that_was_taken_away_is_read_again_as_the_same_tune(
    visitor: Visitor, kind: str, name: str
) -> None:
    reply = visitor.ask("/file", {**tune(name), "kind": kind})
    assert reply.status_code == 200
    source = (TUNES / f"{name}.txt").read_bytes()
    assert read_again(reply.content) == read_again(source)
    again = visitor.told("/read", dropped(reply.content, f"x{FILES[kind].ending}"))
    assert len(again["tunes"]) == 1


def test_the_musicxml_file_is_that_of_the_command_line(visitor: Visitor) -> None:
    (own,) = parse_tunes((TUNES / "greensleeves.txt").read_bytes())
    plain = format_musicxml(arrange(own, Style(level=1)))
    reply = visitor.ask("/file", {**tune("greensleeves"), "kind": "musicxml"})
    assert reply.content == plain


def test_every_offered_file_is_made_and_named_after_the_tune(visitor: Visitor) -> None:
    for offer in visitor.told("/offers", {})["files"]:
        reply = visitor.ask("/file", {**typed(SHORT), "kind": offer["value"]})
        assert reply.status_code == 200, offer
        told = reply.headers["content-disposition"]
        assert re.fullmatch(
            r"""attachment; filename="(steps[a-z-]*\.[a-z]+)"; filename\*=UTF-8''\1""",
            told,
        )
        assert told.endswith(offer["ending"])
        assert len(reply.content) > 50


def test_files_are_what_their_types_say(visitor: Visitor) -> None:
    def made(kind: str) -> bytes:
        return visitor.ask("/file", {**typed(SHORT), "kind": kind}).content

    assert made("pdf").startswith(b"%PDF-")
    assert made("lead-sheet").startswith(b"%PDF-")
    assert zipfile.ZipFile(io.BytesIO(made("mxl"))).testzip() is None
    with wave.open(io.BytesIO(made("wav"))) as sound:
        # Sixteen crotchets at 90 a minute, and the last sound dies away.
        seconds = sound.getnframes() / sound.getframerate()
        assert 16 * 60 / 90 <= seconds < 16 * 60 / 90 + 1
    assert made("reasons").decode().startswith("Bar 1, beat 1: C (I). ")


@pytest.mark.parametrize(
    ("playing", "crotchets"),
    [({}, 16), ({"speed": 0.5}, 32), ({"countIn": True}, 20), ({"bars": "2-3"}, 8),
     ({"bars": "2-3", "times": 3}, 24), ({"bars": "4"}, 4)],
)  # fmt: skip
def test_a_recording_is_played_as_asked(
    visitor: Visitor, playing: dict[str, object], crotchets: int
) -> None:
    asked = {**typed(SHORT), "kind": "wav", "playing": playing}
    with wave.open(io.BytesIO(visitor.ask("/file", asked).content)) as sound:
        seconds = sound.getnframes() / sound.getframerate()
    assert seconds == pytest.approx(crotchets * 60 / 90, abs=1)


def test_the_pedal_is_pressed_if_asked(visitor: Visitor) -> None:
    asked = {**typed(SHORT), "kind": "midi"}
    for pedal in (True, False):
        content = visitor.ask("/file", {**asked, "playing": {"pedal": pedal}}).content
        file = mido.MidiFile(file=io.BytesIO(content))
        assert any(own.type == "control_change" for own in file) is pedal


def test_one_hand_alone_is_played(visitor: Visitor) -> None:
    asked = {**typed(SHORT), "kind": "midi", "playing": {"hand": "left"}}
    file = mido.MidiFile(file=io.BytesIO(visitor.ask("/file", asked).content))
    notes = [own.note for own in file if own.type == "note_on" and own.velocity]
    assert notes
    assert max(notes) < 60


def test_a_recording_of_hours_is_refused(visitor: Visitor) -> None:
    text = SHORT.replace("90", "20") + "C - - - | " * 120
    asked = {**typed(text), "kind": "wav", "playing": {"speed": 0.1, "times": 20}}
    error = visitor.refused("/file", asked, 422)
    assert error["sentence"] == (
        "This recording would last longer than 30 minutes. Choose a faster speed or "
        "fewer bars."
    )


def test_what_cannot_be_typed_is_not_offered_as_text(visitor: Visitor) -> None:
    book = dropped(b"X:1\nM:4/4\nL:1/4\nK:C\n{d}C D E F | G4 |]\n", "grace.abc")
    assert visitor.told("/read", book)["tunes"][0]["text"] is None
    error = visitor.refused("/file", {**book, "kind": "text"}, 422)
    assert "grace note" in str(error["sentence"])


@pytest.mark.parametrize("kind", ["pdf", "musicxml", "midi"])
@pytest.mark.parametrize("version", ["exercise", "blank", "answer"])
def test_drills_are_made(visitor: Visitor, kind: str, version: str) -> None:
    asked = {"names": ["D1", "d3"], "keys": [], "kind": kind, "version": version}
    reply = visitor.ask("/drill", asked)
    assert reply.status_code == 200
    start = {"pdf": b"%PDF-", "musicxml": b"<?xml", "midi": b"MThd"}[kind]
    assert reply.content.startswith(start)
    assert 'filename="drill-d1-d3.' in reply.headers["content-disposition"]


def test_a_drill_in_named_keys_is_in_those_keys(visitor: Visitor) -> None:
    asked = {"names": ["D1"], "keys": ["Eb", "A"], "kind": "musicxml"}
    score = visitor.ask("/drill", asked).content
    fifths = re.findall(rb"<fifths>(-?\d+)</fifths>", score)
    # E flat has three flats, A three sharps.
    assert list(dict.fromkeys(fifths)) == [b"-3", b"3"]


@pytest.mark.parametrize("names", [["D99"], ["../D1"]])
def test_a_drill_that_is_none_is_told(visitor: Visitor, names: list[str]) -> None:
    error = visitor.refused("/drill", {"names": names}, 422)
    assert str(error["sentence"]).startswith(f'There is no drill "{names[0]}".')


def text_of(path: Path) -> str:
    """Return the text of a PDF as poppler reads it."""
    done = subprocess.run(  # noqa: S603 - a program of the system
        ["pdftotext", "-layout", path, "-"],  # noqa: S607
        capture_output=True,
        check=True,
    )
    return done.stdout.decode()


@pytest.mark.parametrize("kind", [kind.value for kind in SheetKind])
def test_worksheets_are_made_of_the_page(
    visitor: Visitor, kind: str, tmp_path: Path
) -> None:
    # In D, with the one chord that the user put in: a sheet of another key or with
    # other chords than the page would be none of its own.
    asked = {
        **tune("auld_lang_syne"),
        "settings": {"transpose": "D", "level": "3"},
        "locks": [{"onset": "1", "end": "5", "chord": "Dm"}],
        "sheet": {"kind": kind, "faults": 2},
    }
    replies = {
        copy: visitor.ask("/worksheet", {**asked, "copy": copy})
        for copy in ("sheet", "answers")
    }
    for copy, reply in replies.items():
        assert reply.status_code == 200, (copy, reply.text)
        assert reply.content.startswith(b"%PDF-")
        name = f"auld-lang-syne-verse-{kind}-A{'-answers' * (copy == 'answers')}.pdf"
        assert f'filename="{name}"' in reply.headers["content-disposition"]
    if kind == "choose":
        path = tmp_path / "answers.pdf"
        path.write_bytes(replies["answers"].content)
        text = text_of(path)
        assert "D major" in text
        # Dm was put in while the tune stood in F; in D it is Bm (common practice).
        assert "Bm" in text


def test_what_is_heard_of_a_worksheet_comes_as_recordings(visitor: Visitor) -> None:
    sheet = {"kind": "aural", "step": 3, "questions": 2, "about": "chord"}
    asked = {**typed(SHORT), "sheet": sheet}
    reply = visitor.ask("/worksheet", {**asked, "copy": "recordings"})
    with zipfile.ZipFile(io.BytesIO(reply.content)) as packed:
        assert packed.namelist() == ["A-1.wav", "A-2.wav"]
        assert packed.read("A-1.wav").startswith(b"RIFF")
    form = visitor.ask("/worksheet", {**asked, "copy": "fill-in"})
    assert "[harmonise task: aural" in form.text
    assert '-aural-A.txt"' in form.headers["content-disposition"]
    silent = {**asked, "sheet": {"kind": "choose"}, "copy": "recordings"}
    error = visitor.refused("/worksheet", silent, 422)
    assert "Nothing of this worksheet is heard." in str(error["sentence"])


def test_a_second_version_of_a_worksheet_is_in_another_key(visitor: Visitor) -> None:
    asked = {**tune("auld_lang_syne"), "copy": "answers"}
    first, second = (
        visitor.ask("/worksheet", {**asked, "sheet": {"kind": "choose", "version": no}})
        for no in (1, 2)
    )
    assert first.content != second.content
    assert "-choose-B-answers.pdf" in second.headers["content-disposition"]


def test_a_drill_takes_the_key_of_the_page_unless_it_has_its_own(
    visitor: Visitor,
) -> None:
    def fifths(name: str, home: str) -> list[bytes]:
        asked = {"names": [name], "home": home, "kind": "musicxml"}
        score = visitor.ask("/drill", asked).content
        return list(dict.fromkeys(re.findall(rb"<fifths>(-?\d+)</fifths>", score)))

    assert fifths("D1", "A major") == [b"3"]
    # A minor has no signs (common practice).
    assert fifths("D3", "A major") == [b"0"]
    assert len(fifths("D2", "A major")) == 12


def test_a_guitar_sheet_has_the_capo_that_was_asked_for(
    visitor: Visitor, tmp_path: Path
) -> None:
    asked = {**tune("auld_lang_syne"), "kind": "guitar", "page": {"capo": 3}}
    path = tmp_path / "guitar.pdf"
    path.write_bytes(visitor.ask("/file", asked).content)
    text = text_of(path)
    assert re.search("capo[^.]* 3", text, re.IGNORECASE)


def test_names_of_files_keep_letters_of_all_languages(visitor: Visitor) -> None:
    asked = {**typed(SHORT.replace("Steps", "Калинка моя")), "kind": "text"}
    told = visitor.ask("/file", asked).headers["content-disposition"]
    assert unquote(told.rpartition("''")[2]) == "калинка-моя.txt"

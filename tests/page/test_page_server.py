import io
import re
from collections import Counter
from fractions import Fraction
from typing import Any
from xml.etree import ElementTree as ET

import mido
import pytest
from makers.visitor import (
    ABC,
    SHORT,
    TUNES,
    Visitor,
    dropped,
    names,
    tune,
    typed,
)

from harmonise.errors import HarmoniseError
from harmonise.notation.formats import parse_tunes
from harmonise.notation.musicxml.writer import format_musicxml
from harmonise.notation.paper.engraving import engrave
from harmonise.notation.score.printed_labels import format_symbol
from harmonise.page.making import arrangement_of
from harmonise.page.requests import ArrangeRequest, Source
from harmonise.theory.chord import parse_symbol


@pytest.fixture(scope="module")
def visitor() -> Visitor:
    return Visitor()


def ids_of(answer: Any) -> list[str]:  # noqa: ANN401 - JSON
    return [
        name
        for line in answer["svg"]
        for name in re.findall(r' id="([^"]*)"', line["markup"])
    ]


def test_a_typed_tune_is_read_back(visitor: Visitor) -> None:
    (found,) = visitor.told("/read", typed(SHORT))["tunes"]
    assert found == {
        "title": "Steps",
        "readback": "4 bars of 4/4, C major, C4–A4, 14 notes, 1 line; "
        "first bar: C E G E",
        "text": "Title: Steps\nKey: C major\nTime: 4/4\nTempo: 90\n"
        "C E G E | F A G - | E G F D | D D C - |\n",
        "key": "C major",
        "chords": [],
        "locked": [],
        # Four header lines go before; every note is one letter, and a beat apart.
        "places": [
            [40 + at, 41 + at]
            for at in (0, 2, 4, 6, 10, 12, 14, 20, 22, 24, 26, 30, 32, 34)
        ],
    }


def test_a_tune_that_cannot_be_read_stops_no_other_of_its_book(
    visitor: Visitor,
) -> None:
    broken = ABC.replace("G B d | G3 |]", "G B ^ | G3 |]")
    assert broken != ABC
    found = visitor.told("/read", dropped(broken.encode(), "book.abc"))
    assert [own["title"] for own in found["tunes"]] == ["One & <two>"]
    (failed,) = found["failed"]
    assert failed.startswith("Second: ")
    # Where none can be read, the first fault is told as ever.
    lone = broken[broken.index("X:2") :]
    visitor.refused("/read", dropped(lone.encode(), "lone.abc"), 422)


VOICES = """X:1
M:4/4
L:1/4
V:1 name="Alto"
V:2
K:C
V:1
C D E F |
V:2
c d e f |
"""
PARTS = """<score-partwise version="4.0"><part-list>
<score-part id="P1"><part-name>Drum</part-name></score-part>
<score-part id="P2"><part-name>Oboe</part-name></score-part>
<score-part id="P3"><part-name>Oboe</part-name></score-part></part-list>
<part id="P1"><measure number="1"><attributes><divisions>1</divisions></attributes>
<note><rest/><duration>4</duration></note></measure></part>{}{}</score-partwise>"""
PART = """<part id="{}"><measure number="1"><attributes><divisions>1</divisions>
<time><beats>4</beats><beat-type>4</beat-type></time></attributes><note><pitch>
<step>{}</step><octave>4</octave></pitch><duration>4</duration></note></measure></part>"""
SCORE = PARTS.format(PART.format("P2", "A"), PART.format("P3", "D"))


@pytest.mark.parametrize(
    ("source", "parts", "chosen", "told"),
    [
        (typed(VOICES), [("1", "Alto"), ("2", "2")], "2", "C5\u2013F5"),
        # A part of rests alone has no tune; parts of one name differ by their ids.
        (
            dropped(SCORE.encode(), "a.xml"),
            [("P2", "Oboe"), ("P3", "Oboe")],
            "P3",
            "D4",
        ),
        (typed(SHORT), [], "", "C4\u2013A4"),
    ],
)
def test_the_part_that_has_the_tune_is_one_of_a_list(
    visitor: Visitor,
    source: Any,  # noqa: ANN401 - JSON
    parts: list[tuple[str, str]],
    chosen: str,
    told: str,
) -> None:
    found = visitor.told("/read", source)["parts"]
    assert [(part["value"], part["title"]) for part in found] == parts
    asked = {"source": {**source["source"], "part": chosen}}
    (tune,) = visitor.told("/read", asked)["tunes"]
    assert told in tune["readback"]


def test_tracks_of_a_midi_file_are_parts(visitor: Visitor) -> None:
    file = mido.MidiFile(ticks_per_beat=480)
    for name, key in (("Notes", None), ("Drone", 48), ("Flute", 72)):
        track = mido.MidiTrack([mido.MetaMessage("track_name", name=name)])
        if key:
            track.append(mido.Message("note_on", note=key, velocity=64, time=0))
            track.append(mido.Message("note_off", note=key, velocity=64, time=1920))
        file.tracks.append(track)
    held = io.BytesIO()
    file.save(file=held)
    source: Any = dropped(held.getvalue(), "a.mid")
    found = visitor.told("/read", source)["parts"]
    assert [part["value"] for part in found] == ["Drone", "Flute"]
    asked = {"source": {**source["source"], "part": "Drone"}}
    assert "C3" in visitor.told("/read", asked)["tunes"][0]["readback"]


LOCKS = [("Am", "4", "8"), ("C/E", "8", "10"), ("Dm", "10", "11")]


@pytest.mark.parametrize("kind", ["abc", "musicxml", "mxl", "lead-sheet-musicxml"])
def test_a_saved_file_brings_back_what_was_locked(visitor: Visitor, kind: str) -> None:
    asked = typed(SHORT) | {
        "locks": [{"chord": a, "onset": b, "end": c} for a, b, c in LOCKS],
        "settings": {"level": "2"},
    }
    shown = visitor.told("/arrange", asked)["slots"]
    saved = visitor.ask("/file", {**asked, "kind": kind}).content
    if kind == "abc":
        assert b"\nN:Locked chords: Am 4-8, C/E 8-10, Dm 10-11\n" in saved
    elif kind != "mxl":
        name = "*/miscellaneous/miscellaneous-field[@name='locked-chords']"
        told = ET.fromstring(saved).findtext(name)  # noqa: S314 - our own
        assert told == "Am 4-8, C/E 8-10, Dm 10-11"
    back = dropped(saved, "saved")
    (tune,) = visitor.told("/read", back)["tunes"]
    found = [(lock["chord"], lock["onset"], lock["end"]) for lock in tune["locked"]]
    assert found == LOCKS
    assert len(tune["chords"]) > len(LOCKS)
    again = {**back, "locks": tune["locked"], "settings": {"level": "2"}}
    (again_shown, was) = (
        [(slot["onset"], slot["chord"], slot["locked"]) for slot in slots]
        for slots in (visitor.told("/arrange", again)["slots"], shown)
    )
    assert again_shown == was


def test_a_chord_that_was_changed_since_is_locked_no_more(visitor: Visitor) -> None:
    note = "N:Locked chords: Am 0-2, G 2-4, Q 4-6, G 6-5"
    text = f'X:1\n{note}\nM:4/4\nL:1/4\nK:C\n"Am"C E "C"G E | "F"A2 "G"G2 |]'
    (tune,) = visitor.told("/read", typed(text))["tunes"]
    assert [lock["chord"] for lock in tune["locked"]] == ["Am"]


def test_a_book_of_tunes_is_read_whole_and_each_can_be_taken(visitor: Visitor) -> None:
    book = dropped(ABC.encode(), "book.abc")
    pasted = visitor.told("/read", typed(ABC))["tunes"]
    assert [own["places"] for own in pasted] == [[], []]
    found = visitor.told("/read", book)["tunes"]
    assert [own["title"] for own in found] == ["One & <two>", "Second"]
    assert visitor.told("/arrange", {**book, "tune": 1})["title"] == "Second"
    error = visitor.refused("/arrange", {**book, "tune": 2}, 422)
    assert error["sentence"] == "There is no tune 3, only 2 tunes. Choose another."


@pytest.mark.parametrize("name", ["C C Q", "X:1\nK:Q\nc d |", "Key: H\nC D"])
def test_a_faulty_tune_gets_the_readers_own_sentence(
    visitor: Visitor, name: str
) -> None:
    with pytest.raises(HarmoniseError) as caught:
        parse_tunes(name.encode())
    assert visitor.refused("/read", typed(name), 422)["sentence"] == str(caught.value)


def test_a_fault_is_told_with_bar_beat_and_line(visitor: Visitor) -> None:
    text = "Key: C\nTime: 4/4\nC E G E | F c A G - |"
    error = visitor.refused("/read", typed(text), 422)
    assert error == {
        "sentence": 'Bar 2, beat 2: small "c" is no note here. For the note C type a '
        'capital: C. (line 3: "c")',
        "what": 'small "c" is no note here.',
        "remedy": 'For the note C type a capital: C. (line 3: "c")',
        "bar": 2,
        "beat": "2",
        "line": 3,
    }


@pytest.mark.parametrize(
    "content",
    [b"", b"\x00\x01\x02", b"PK\x03\x04broken", b"<score-partwise/>", b"<", b"MThd",
     b"\xff\xfe<\x00", bytes(range(256)) * 40],
)  # fmt: skip
def test_a_malformed_upload_gets_a_sentence(visitor: Visitor, content: bytes) -> None:
    for path in ("/read", "/arrange"):
        error = visitor.refused(path, dropped(content, "../../tune.mxl"), 422)
        assert re.fullmatch(r"[A-Z\"].*[.)|]", str(error["sentence"]), re.DOTALL)


# Arranging


@pytest.mark.parametrize("name", names())
def test_every_tune_is_drawn_and_every_sounding_note_is_in_the_drawing(
    visitor: Visitor, name: str
) -> None:
    answer = visitor.told("/arrange", {**tune(name), "settings": {"level": "auto"}})
    ids = Counter(ids_of(answer))
    assert max(ids.values()) == 1
    drawn = {own for own in ids if re.match(r"l\d+n\d+$", own)}
    assert {own for event in answer["events"] for own in event["ids"]} == drawn
    assert all(
        slot["notes"] and set(slot["notes"]) <= drawn for slot in answer["slots"]
    )
    lines = [index for line in answer["svg"] for index in line["bars"]]
    assert lines == [bar["index"] for bar in answer["bars"]]


@pytest.mark.parametrize("name", names())
def test_the_symbol_of_a_slot_is_the_chord_that_stands_there(
    visitor: Visitor, name: str
) -> None:
    answer = visitor.told("/arrange", tune(name))
    words = {}
    for line in answer["svg"]:
        drawing = ET.fromstring(line["markup"])  # noqa: S314 - our own
        for group in drawing.iter("{http://www.w3.org/2000/svg}g"):
            if group.get("class") == "harm":
                words[group.get("id")] = "".join(group.itertext()).strip()
    shown = [slot for slot in answer["slots"] if slot["symbol"]]
    assert shown
    for slot in shown:
        assert words[slot["symbol"]] == format_symbol(parse_symbol(slot["chord"]))


def test_notes_of_a_slot_sound_at_its_start(visitor: Visitor) -> None:
    text = "Key: C\nTime: 4/4\nC D.E F G | - A B C5 | - - - - |"
    answer = visitor.told("/arrange", {**typed(text), "settings": {"texture": "held"}})
    by_id = {own: event for event in answer["events"] for own in event["ids"]}
    for slot in answer["slots"]:
        onset = Fraction(slot["onset"])
        now = {
            event["midi"]
            for event in answer["events"]
            if event["t"] <= onset < event["t"] + event["d"]
        }
        assert {by_id[own]["midi"] for own in slot["notes"]} == now
        # Of a note tied over the bar line the part that is printed here is named.
        if onset == 4:
            (markup,) = (line["markup"] for line in answer["svg"])
            second = markup.partition('id="m1"')[2].partition('id="m2"')[0]
            assert all(f'id="{own}"' in second for own in slot["notes"])


def test_kept_tones_are_those_that_two_chords_share(visitor: Visitor) -> None:
    # From C to F the C stays, from F to G nothing, from G to C the G (common practice;
    # Walter Piston, "Harmony", chapter 2, from memory).
    locks = [
        {"onset": str(at), "end": str(at + 4), "chord": chord}
        for at, chord in ((0, "C"), (4, "F"), (8, "G"), (12, "C"))
    ]
    text = "Key: C\nTime: 4/4\nC5 - - - | C5 - - - | B - - - | C5 - - - |"
    answer = visitor.told("/arrange", {**typed(text), "locks": locks})
    kept = {slot["onset"]: slot["kept"] for slot in answer["slots"]}
    assert {at: keys for at, keys in kept.items() if keys} == {"4": [72], "12": [67]}


def test_a_chosen_chord_is_locked_and_the_rest_chosen_anew(visitor: Visitor) -> None:
    free = {**tune("greensleeves"), "settings": {"level": "3"}}
    before = visitor.told("/arrange", free)
    slot = next(slot for slot in before["slots"] if slot["alternatives"])
    other = slot["alternatives"][0]["chord"]
    end = slot["end"]
    lock = {"onset": slot["onset"], "end": end, "chord": other}
    asked = {**free, "locks": [lock]}
    after = visitor.told("/arrange", asked)
    now = next(own for own in after["slots"] if own["onset"] == slot["onset"])
    assert (now["chord"], now["locked"], slot["locked"]) == (other, True, False)
    assert [line["bars"] for line in after["svg"]] == [
        line["bars"] for line in before["svg"]
    ]
    tops = [
        [event["midi"] for event in own["events"] if event["voice"] == "tune"]
        for own in (before, after)
    ]
    assert tops[0] == tops[1]
    assert visitor.told("/arrange", asked) == after


KEYS = {2: "D", -3: "Eb", 1: "G", -6: "Gb"}
"""Keys by the fifths that they lie above C (common practice)."""
MOVES = (
    pytest.param("G7", 2, "A7", id="a tone up"),
    pytest.param("Am", -3, "Cm", id="a minor third up"),
    pytest.param("C/E", 1, "G/B", id="bass moves too"),
    pytest.param("F#m7", -6, "Cm7", id="sharps lost"),
    pytest.param("V7", 2, "V7", id="numerals stay"),
)


@pytest.mark.parametrize(("chord", "fifths", "moved"), MOVES)
def test_locked_chords_move_along_the_fifths(
    visitor: Visitor, chord: str, fifths: int, moved: str
) -> None:
    """Common practice: a tone is two fifths, a minor third three the other way."""
    lock = {"onset": "8", "end": "10", "chord": chord}
    settings = {"transpose": KEYS[fifths]}
    asked = {**typed(SHORT), "settings": settings, "locks": [lock]}
    answer = visitor.told("/arrange", asked)
    assert answer["moved"] == fifths
    (slot,) = [own for own in answer["slots"] if own["locked"]]
    assert moved in (slot["chord"], slot["numeral"])
    # A chord that was chosen on the page as it stands now stays as it is.
    asked["locks"] = [{**lock, "chord": moved, "moved": fifths}]
    assert visitor.told("/arrange", asked)["slots"] == answer["slots"]


def test_any_chord_may_be_locked_by_its_symbol_or_numeral(visitor: Visitor) -> None:
    for chord in ("Dm7", "ii7"):
        lock = {"onset": "8", "end": "10", "chord": chord}
        answer = visitor.told("/arrange", {**typed(SHORT), "locks": [lock]})
        (slot,) = [own for own in answer["slots"] if own["locked"]]
        assert (slot["chord"], slot["numeral"]) == ("Dm7", "ii7")


@pytest.mark.parametrize(
    ("lock", "sentence"),
    [
        (("0", "4", "H7"), "Bar 1, beat 1: "),
        (
            ("0", "99", "C"),
            "Bar 1, beat 1: a chord is locked after the end",
        ),
        (("99", "100", "C"), "Bar 4, beat 5: a chord is locked after the end"),
    ],
)
def test_a_lock_that_cannot_be_is_told(
    visitor: Visitor, lock: tuple[str, str, str], sentence: str
) -> None:
    locks = [dict(zip(("onset", "end", "chord"), lock, strict=True))]
    error = visitor.refused("/arrange", {**typed(SHORT), "locks": locks}, 422)
    assert str(error["sentence"]).startswith(sentence)


def test_key_and_transposition_are_taken_in_turn(visitor: Visitor) -> None:
    settings = {"key": "G", "transpose": "A"}
    answer = visitor.told("/arrange", {**typed(SHORT), "settings": settings})
    assert "A major" in answer["readback"]
    # Steps begins on C; said to be in G and moved to A, it begins a tone higher.
    first = next(event for event in answer["events"] if event["voice"] == "tune")
    assert first["midi"] % 12 == 2


@pytest.mark.parametrize("text", ["H", "A minor", "C, G", "all"])
def test_a_key_that_the_tune_cannot_be_moved_to_is_told(
    visitor: Visitor, text: str
) -> None:
    settings = {"transpose": text}
    error = visitor.refused("/arrange", {**typed(SHORT), "settings": settings}, 422)
    assert error["sentence"]


@pytest.mark.parametrize("name", ["greensleeves", "the_bucket", "water_of_tyne"])
def test_lines_that_are_known_are_drawn_as_those_that_were_measured(name: str) -> None:
    score = format_musicxml(
        arrangement_of(
            ArrangeRequest(Source((TUNES / f"{name}.txt").read_text("utf-8")))
        )
    )
    measured = engrave(score)
    starts = tuple(line.bars[0] for line in measured)
    assert engrave(score, starts=starts) == measured
    # Two lines in one: bars go where they are told, however tight it gets.
    fewer = engrave(score, starts=starts[::2])
    assert [line.bars[0] for line in fewer] == list(starts[::2])

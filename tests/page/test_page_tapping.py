"""Taps become typed text, which a reader of typed tunes reads as what was tapped."""

import music21  # noqa: TID251 - it reads our letters
import pytest
from makers.visitor import SHORT, TUNES, Visitor, typed

import harmonise

TAPS = (
    pytest.param(
        "Key: F\nTime: 3/4\nC", [[70, "1"], [72, "1"]], "C Bb C5 |", id="flat"
    ),
    pytest.param("Key: D\n1", [[66, "1"], [74, "2"]], "1 3 1' - |", id="numbers"),
    pytest.param("Key: C\nTime: 6/8\nC", [[64, "3/2"]], "C E - -", id="quaver beats"),
    pytest.param(
        "Key: A minor\nA", [[68, "1/3"], [69, "2/3"]], "A G#.A.-", id="thirds"
    ),
    pytest.param("Key: C\nC", [["0", "3/4"], [72, "3/4"]], "C 0.-.-.C5 -.0", id="rest"),
    pytest.param("Key: C\nC", [["-", "4"]], "C - - - | -", id="held over the bar line"),
    pytest.param("Key: G\nSignature: on\nG", [[65, "1"]], "G Fn", id="signature on"),
    pytest.param("Key: C\nc", [[70, "1"], [72, "1"]], "c bb c5", id="small letters"),
    pytest.param("Key: D\ndo re", [[66, "1"], [74, "1"]], "do re mi do' |", id="names"),
)
OTHER_NOTATION = (
    "Tapping writes letters, and this tune is in {}. Begin with an empty page to tap "
    "one."
)
KEYS = ("C", "G", "E", "F#", "Db", "Bb", "A minor", "D dorian", "Eb mixolydian")


@pytest.fixture(scope="module")
def visitor() -> Visitor:
    return Visitor()


def tap(visitor: Visitor, text: str, taps: list[list[object]]) -> dict[str, str]:
    """Return the answer to the last of some taps, each a sign and its crotchets."""
    state = {"text": text, "taken": "0"}
    for put, length in taps:
        state = visitor.told("/tap", {**state, "put": put, "length": length})
    return state


@pytest.mark.parametrize(("text", "taps", "typed"), TAPS)
def test_taps_are_typed_as_a_reader_would(
    visitor: Visitor, text: str, taps: list[list[object]], typed: str
) -> None:
    assert tap(visitor, text, taps)["text"].splitlines()[-1] == typed


def test_every_key_is_typed_as_the_pitch_that_it_sounds(visitor: Visitor) -> None:
    """music21 reads the letters; the names are ours and the scientific ones."""
    for key in KEYS:
        for midi in range(48, 85):
            text = tap(visitor, f"Key: {key}\n", [[midi, "1"]])["text"]
            name = text.split()[-1]
            whole = name if name[-1].isdigit() else f"{name}4"
            assert music21.pitch.Pitch(whole.replace("b", "-")).midi == midi, name


@pytest.mark.parametrize(
    ("text", "put", "after"),
    [
        ("Key: C\nC D E F", "|", "Key: C\nC D E F |"),
        ("Key: C\nC D E F |", "|", "Key: C\nC D E F |"),
        ("Key: C\nC D E F |", "\n", "Key: C\nC D E F |\n"),
        ("Key: C\nC D % so far", "|", "Key: C\nC D % so far\n|"),
        ("Key: C\nC D\nWords: so far", "|", "Key: C\nC D\nWords: so far\n|"),
        ("Key: C\nTime: 4/4\nC", "6/8", "Key: C\nTime: 6/8\nC"),
        ("Key: C\nC", "3/4", "Key: C\nTime: 3/4\nC"),
        ("C", "3/4", "Time: 3/4\nC"),
    ],
)
def test_what_is_no_note_is_put_where_it_belongs(
    visitor: Visitor, text: str, put: str, after: str
) -> None:
    assert tap(visitor, text, [[put, "1"]])["text"] == after


def test_an_empty_text_is_begun_with_headers(visitor: Visitor) -> None:
    blank = visitor.told("/offers", {})["blank"]
    assert tap(visitor, "", [[60, "1"]])["text"] == f"{blank}C"
    assert visitor.told("/read", typed(blank)) == {
        "tunes": [],
        "failed": [],
        "parts": [],
        "time": "4/4",
    }
    assert visitor.told("/read", typed("Time: 6/8"))["time"] == "6/8"


def test_a_text_is_read_while_it_is_tapped(visitor: Visitor) -> None:
    def asked() -> dict[str, object]:
        return {"source": {"text": state["text"], "tapped": True}}

    state = {"text": "Key: C\nTime: 3/4\n", "taken": "0"}
    for put, length in ((60, "1"), ("|", "1"), (62, "1/2"), (64, "2"), ("-", "1/4")):
        state = visitor.told("/tap", {**state, "put": put, "length": length})
        assert visitor.told("/read", asked())["tunes"]
    assert visitor.told("/arrange", asked())["slots"]
    text = "Key: C\nTime: 3/4\nC | D.E - -.-.-.0"
    assert state == {"text": text, "taken": "3/4", "at": None}
    # Of what was typed a bar that is too short is told.
    typing = typed("Key: C\nC D E F | G A | C D")
    assert visitor.refused("/read", typing, 422)["line"] == 2


@pytest.mark.parametrize(
    ("text", "put", "sentence"),
    [
        ("X:1\nK:C\nCDEF|", 60, OTHER_NOTATION.format("ABC")),
        ("Doh: C\n| d : r |", 60, OTHER_NOTATION.format("sol-fa")),
        ("Key: C\n", "-", "Tap a note first."),
        ("Key: C\n0 0", "|", "Tap a note first."),
        ("", "\n", "Tap a note first."),
        ("Key: H\nC", 60, None),
    ],
)  # fmt: skip
def test_what_cannot_be_tapped_is_told(
    visitor: Visitor, text: str, put: object, sentence: str | None
) -> None:
    asked = {"text": text, "put": put}
    error = visitor.refused("/tap", asked, 422)
    assert sentence in (None, error["sentence"])


@pytest.mark.parametrize(
    "asked",
    [{"put": "C"}, {"put": 128}, {"put": None}, {"put": 60, "length": "0"},
     {"put": 60, "length": "17"}, {"put": 60, "taken": "1"}, {"put": "3/5"}],
)  # fmt: skip
def test_a_tap_that_is_none_is_refused(
    visitor: Visitor, asked: dict[str, object]
) -> None:
    assert visitor.refused("/tap", {"text": SHORT, **asked}, 400)["sentence"]


def test_a_note_gives_way_to_another_of_the_same_length(visitor: Visitor) -> None:
    text = "Key: G\nTime: 4/4\nG A.B C5 - | D5 - G -"
    (places,) = (
        own["places"]
        for own in visitor.told("/read", {"source": {"text": text}})["tunes"]
    )
    # The third note is the second half of the second beat.
    found = visitor.told("/tap", {"text": text, "put": 66, "at": places[2]})
    start = places[2][0]
    assert found == {
        "text": "Key: G\nTime: 4/4\nG A.F# C5 - | D5 - G -",
        "taken": "0",
        "at": [start, start + 2],
    }


CARETS = (
    ("C D E^ F | G A B -", 67, "1", "C D E G^ | F G A B | - 0 0 0"),
    ("C D E F^ | G A B - |", 67, "1", "C D E F | G^ G A B | - 0 0 0 |"),
    ("C D E F | ^G A 0 0 |", 71, "2", "C D E F | B -^ G A |"),
    ("C D^ 0 F |", 67, "1", "C D G^ F |"),
    ("C D^ 0 F |", 67, "1/2", "C D G^.0 F |"),
    ("C D G^.0 F |", 71, "1/2", "C D G.B^ F |"),
    ("C D.E^.F G | A - |", 67, "1/3", "C D.E.G^ 0.-.F G | A - |"),
    ("C D^ E | A - - - |", 67, "1/2", "C D G^.0 E | A - - - |"),
    ("C^ D E F :| A - - - |", 67, "1", "C G^ D E | F 0 0 0 :| A - - - |"),
    ("C^ D E\nF | G - - - |", 67, "1", "C G^ D\nE | F G - - | - 0 0 0 |"),
    ("C D E^ F | G - - - |", "-", "1", "C D E -^ | F G - - | - 0 0 0 |"),
    ("C D E^ F\nWords: la\nG - |", "0", "1", "C D E 0^\nWords: la\nF G - |"),
    ("C D E^ F G A B - D C", 67, "1", "C D E G^ F G A B - D C"),
    ("C D^ E F | G", "|", "1", "C D |^ E F | G"),
    ("C D E F^ |", "0", "1", "C D E F^ |"),
    ("C D E F | G^ A", "\n", "1", "C D E F | G\n^A"),
)  # fmt: skip
"""Each with a caret (^) before and after; 4/4, so the bars were counted by hand."""


@pytest.mark.parametrize(("before", "put", "length", "after"), CARETS)
def test_what_is_tapped_goes_in_at_the_caret(
    visitor: Visitor, before: str, put: object, length: str, after: str
) -> None:
    whole, done = (
        f"Title: \U0001f3b5\nKey: C\nTime: 4/4\n{it}" for it in (before, after)
    )
    # A browser counts the clef as two (UTF-16).
    at = [whole.index("^") + 1] * 2
    asked = {"text": whole.replace("^", ""), "put": put, "length": length, "at": at}
    found = visitor.told("/tap", asked)
    assert found["text"] == done.replace("^", "")
    assert found["at"] == [done.index("^") + 1] * 2


def test_behind_the_tune_and_among_headers_a_caret_is_none(visitor: Visitor) -> None:
    text = "Key: C\nC D % so far\n"
    for at in (3, 9, 14, 22):
        found = visitor.told("/tap", {"text": text, "put": 64, "at": [at, at]})
        put = "Key: C\nC E D % so far\n" if at == 9 else f"{text}E"
        assert found["text"] == put
    # A time signature is put at the top wherever the caret stands.
    found = visitor.told("/tap", {"text": text, "put": "3/4", "at": [9, 9]})
    assert found["text"] == "Key: C\nTime: 3/4\nC D % so far\n"


SUNG = (
    (
        "C^ D E F | G A B C5 |\nWords: we go a-long the o-pen road",
        "C G^ D E | F G A B | C5 0 0 0 |\nWords: we _ go a-long the o-pen road",
    ),
    (
        "C^ D E F |\nWords: we go a-long\nWords: and come back home\nG A B C5 |",
        """C G^ D E |
Words: we _ go a-
Words: and _ come back
F G A B | C5 0 0 0 |
Words: long
Words: home""",
    ),
    (
        "C D^ E F |\nWords: glo-_ri-a",
        "C D G^ E | F 0 0 0 |\nWords: glo-_ _ ri-a",
    ),
)
"""Each with a caret (^) before and after; the notes were counted by hand."""


@pytest.mark.parametrize(("before", "after"), SUNG)
def test_words_stay_on_their_notes(visitor: Visitor, before: str, after: str) -> None:
    whole, done = (f"Key: C\nTime: 4/4\n{it}" for it in (before, after))
    at = [whole.index("^")] * 2
    asked = {"text": whole.replace("^", ""), "put": 67, "at": at}
    found = visitor.told("/tap", asked)
    assert found["text"] == done.replace("^", "")
    assert found["at"] == [done.index("^")] * 2


@pytest.mark.parametrize(
    ("note", "words"),
    [("D", "we~go a-long"), ("F", "we go along"), ("C", "we~go a-long")],
)
def test_a_note_taken_out_leaves_its_syllable(
    visitor: Visitor, note: str, words: str
) -> None:
    text = "Title: X\nTime: 4/4\nC D E F |\nWords: we go a-long"
    start = text.index(f"{note} ", text.index("4/4\n"))
    asked = {"text": text, "put": "0", "at": [start, start + 1]}
    assert visitor.told("/tap", asked)["text"].splitlines()[-1] == f"Words: {words}"


@pytest.mark.parametrize("name", ["boat_round", "bobby_shafto", "morning_steps"])
def test_the_reader_finds_every_word_on_its_note(visitor: Visitor, name: str) -> None:
    text = (TUNES / f"{name}.txt").read_text("utf-8")
    (tune,) = visitor.told("/read", typed(text))["tunes"]
    before = harmonise.read_tune(text).sounding
    for number, at in [*enumerate(tune["places"])][::3]:
        asked = {"text": text, "put": 67, "at": [at[1], at[1]]}
        assert any(note.syllables for note in before)
        after = harmonise.read_tune(visitor.told("/tap", asked)["text"]).sounding
        kept = [*after[: number + 1], *after[number + 2 :]]
        for was, now in zip(before, kept, strict=True):
            assert [it and it.text for it in now.syllables] == [
                it and it.text for it in was.syllables
            ]


@pytest.mark.parametrize("name", ["widows_rant", "rakes_of_mallow"])
def test_right_typing_is_never_called_wrong(visitor: Visitor, name: str) -> None:
    """A mistake in the line of the caret waits: that line may not be finished."""
    text = (TUNES / f"{name}.txt").read_text("utf-8").rstrip()
    for end in range(1, len(text), 2):
        asked = {"source": {"text": text[:end], "tapped": True}}
        answer = visitor.ask("/read", asked).json()
        line = text.count("\n", 0, end) + 1
        assert answer.get("error", {"line": line})["line"] == line, text[:end]

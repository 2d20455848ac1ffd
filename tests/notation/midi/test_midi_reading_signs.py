"""What the MIDI door makes of keys, words and tempos."""

import mido
import pytest
from makers.midi_files import (
    FACTS,
    in_a_row,
    key_sign,
    meta,
    one,
    packed,
    read,
    time_sign,
    told,
    track,
)

from harmonise.theory.key import parse_key


@pytest.mark.parametrize(
    ("name", "key"),
    [
        ("C", "C"),
        ("Am", "A minor"),
        ("F#m", "F# minor"),
        ("Gb", "Gb"),
        ("Bbm", "Bb minor"),
    ],
)
def test_a_key_signature_is_a_fact_with_its_mode(name: str, key: str) -> None:
    wanted = parse_key(key)
    notes = " ".join(str(60 + (wanted.tonic.pitch_class + s) % 12) for s in (0, 7, 0))
    tune = one(notes, time_sign("4/4"), key_sign(name))
    assert tune.key == wanted
    assert not tune.key_guessed
    assert not tune.remarks


@pytest.mark.parametrize(
    ("notes", "key"),
    [
        ("67 69 71 72 74 72 71 69 67 66 69 67:3", "G major"),
        ("65 67 69 70 72 70 69 67 65 64 67 65:3", "F major"),
        ("57 59 60 62 64 62 60 59 57 56 59 57:3", "A minor"),
        ("61 63 65 66 68 66 65 63 61 60 63 61:3", "Db major"),
        ("64 66 67 69 71 69 67 66 64 63 66 64:3", "E minor"),
    ],
)
def test_a_file_without_a_key_gets_a_guess_that_is_shown(notes: str, key: str) -> None:
    tune = one(notes, time_sign("4/4"))
    assert str(tune.key) == key
    assert tune.key_guessed
    assert told(tune) == [
        (
            f"The file gives no key: read as {key}, which is a guess by the notes. "
            "Name the key if it is another."
        )
    ]


def test_c_major_is_not_believed_against_the_notes() -> None:
    tune = one("62 64 66 67 69 71 73 74 69 66 64 62")
    assert str(tune.key) == "D major"
    assert tune.key_guessed
    assert str(tune.sounding[2].pitch) == "F#4"
    assert told(tune)[0].startswith("The file says C major, as many programs do")


def test_one_strange_note_does_not_make_c_major_believed() -> None:
    tune = one("62 64 66 67 69 71 73 74 69 66 64 65:1/2 64:1/2 62 66 73:4 74:4")
    assert str(tune.key) == "D major"
    assert tune.key_guessed


def test_c_major_is_believed_when_its_notes_are_there() -> None:
    tune = one("60 64 67 66 67 65 64 60 62 59 60:2")
    assert str(tune.key) == "C major"
    assert not tune.key_guessed


def test_a_key_signature_that_means_no_key_is_left_out() -> None:
    data = packed(track(in_a_row("67 69 71 67"), *FACTS))
    broken = data.replace(b"\xff\x59\x02\x00\x00", b"\xff\x59\x02\x09\x05")
    assert broken != data
    tune = read(broken)
    assert tune.key_guessed
    assert told(tune)[0].startswith("The file gives no key that can be read")


# Spelling of chromatic notes, common practice: see the table of chromatic notes in any
# harmony textbook; #1 #2 #4 #5 go up, b3 b6 b7 go down (from memory).
@pytest.mark.parametrize(
    ("key", "notes", "wanted"),
    [
        ("C", "60 61 62", "C4 C#4 D4"),
        ("C", "64 63 64", "E4 D#4 E4"),
        ("C", "60 63 60", "C4 Eb4 C4"),
        ("C", "67 66 67", "G4 F#4 G4"),
        ("C", "67 66 65", "G4 F#4 F4"),
        ("C", "69 68 69", "A4 G#4 A4"),
        ("C", "67 68 67", "G4 Ab4 G4"),
        ("C", "64 68 71", "E4 G#4 B4"),
        ("C", "65 68 72", "F4 Ab4 C5"),
        ("C", "72 70 69", "C5 Bb4 A4"),
        ("C", "71 70 71", "B4 A#4 B4"),
        ("Am", "57 56 57", "A3 G#3 A3"),
        ("Am", "64 66 68 69", "E4 F#4 G#4 A4"),
        ("Am", "64 63 64", "E4 D#4 E4"),
        ("Am", "57 61 62", "A3 C#4 D4"),
        ("Gm", "67 66 67 61 62", "G4 F#4 G4 C#4 D4"),
        ("F#m", "66 65 66", "F#4 E#4 F#4"),
        ("Eb", "63 66 65 64 65", "Eb4 Gb4 F4 E4 F4"),
        ("F", "65 71 72", "F4 B4 C5"),
        ("Gb", "66 71 72 73", "Gb4 Cb5 C5 Db5"),
    ],
)
def test_notes_are_spelled_by_the_key(key: str, notes: str, wanted: str) -> None:
    tune = one(notes, time_sign("4/4"), key_sign(key), key_sign(key, 1))
    if key != "C":
        assert " ".join(str(note.pitch) for note in tune.sounding) == wanted
        return
    longer = one(f"60:2 65:4 67:4 {notes} 71:4 60:4", *FACTS)
    names = [str(note.pitch) for note in longer.sounding]
    assert " ".join(names[3:-2]) == wanted


def test_hyphens_join_syllables() -> None:
    words = [
        meta("lyrics", at, text=t) for at, t in enumerate(("Glo-", "ri-", "a", "now"))
    ]
    tune = one("60 62 64 60", *FACTS, *words)
    said = [note.syllables[0] for note in tune.sounding]
    assert [(s.text, s.joins) for s in said if s] == [
        ("Glo", True), ("ri", True), ("a", False), ("now", False),
    ]  # fmt: skip
    assert tune.verses == 1


def test_blanks_part_words_and_line_ends_part_lines() -> None:
    texts = {0: "Morn", 1: "ing ", 2: "has\r", 3: "bro", 4: "ken."}
    words = [meta("lyrics", at, text=text) for at, text in texts.items()]
    tune = one("60 62 64 60 62", *FACTS, *words)
    said = [note.syllables[0] for note in tune.sounding]
    assert [(s.text, s.joins) for s in said if s] == [
        ("Morn", True), ("ing", False), ("has", False), ("bro", True), ("ken.", False),
    ]  # fmt: skip
    assert list(map(int, tune.phrases)) == [3, 8]


def test_syllables_on_no_note_are_told() -> None:
    words = [meta("lyrics", at, text=t) for at, t in ((0, "yes"), (0.5, "no"))]
    tune = one("60:2 62:2", *FACTS, *words)
    assert told(tune) == [
        'On no note of the tune, so left out: 1 syllable, the first "no".'
    ]
    assert tune.notes[1].syllables == (None,)


def test_words_of_another_track_and_in_utf_8_are_read() -> None:
    word = "Gr\u00fc\u00dfe".encode().decode("latin-1")
    words = track([], meta("lyrics", 0, text=word), name="Words")
    tune = read(packed(track([], *FACTS), track(in_a_row("60:4")), words))
    syllable = tune.notes[0].syllables[0]
    assert syllable
    assert syllable.text == "Gr\u00fc\u00dfe"


def test_tempos_title_origin_and_markers_are_read() -> None:
    signs = track(
        [],
        time_sign("6/8"),
        key_sign("C"),
        meta("set_tempo", 0, tempo=mido.bpm2tempo(144)),
        meta("set_tempo", 6, tempo=mido.bpm2tempo(90)),
        meta("copyright", 0, text="Set by nobody"),
        meta("marker", 0, text="Verse"),
        meta("marker", 6, text="Chorus"),
        name="  Over the\thill ",
    )
    tune = read(packed(signs, track(in_a_row("60:3 62:3 64:3 60:3"), name="Tune")))
    assert tune.title == "Over the hill"
    assert tune.origin == "Set by nobody"
    assert [f"{t.onset} {t.per_minute} {t.beat}" for t in tune.tempos] == [
        "0 96 3/2", "6 60 3/2",
    ]  # fmt: skip
    assert [bar.section for bar in tune.bars] == ["Verse", "", "Chorus", ""]
    assert list(map(int, tune.phrases)) == [6, 12]


def test_a_performance_full_of_tempos_keeps_the_first() -> None:
    speeds = [
        meta("set_tempo", at, tempo=500_000 + 60_000 * (at % 5)) for at in range(32)
    ]
    tune = one(" ".join(["60"] * 32), *FACTS, *speeds)
    assert [tempo.per_minute for tempo in tune.tempos] == [120]
    assert "only the first tempo was taken" in told(tune)[0]

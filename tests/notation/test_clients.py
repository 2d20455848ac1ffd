"""What other people's programs read in our files is what we meant."""

import re
from base64 import b64decode
from collections import Counter
from collections.abc import Mapping, Sequence
from fractions import Fraction
from functools import cache
from io import BytesIO
from itertools import groupby
from pathlib import Path
from typing import TypeVar

import mido
import pytest
from makers.profiles import PROFILE
from oracles.clients import (
    LISTENED,
    Words,
    near,
    needs,
    played_by_fluidsynth,
    read_by_abc2midi,
    read_by_lilypond,
    sounds,
    words_of,
)
from oracles.drawn_abc import drawn_by_abcm2ps

from harmonise.arranging.job import arrange
from harmonise.notation.abc.abc_writer import format_abc
from harmonise.notation.formats import parse_tunes, read_tunes
from harmonise.notation.midi.writing import format_midi
from harmonise.notation.musicxml.writer import format_musicxml
from harmonise.notation.outputs import chords_of
from harmonise.notation.sound.performance import Struck, perform
from harmonise.theory.arrangement import Arrangement, Style, Texture, Voice
from harmonise.theory.tune import Tune, TuneNote

_Found = TypeVar("_Found")
TUNES = Path(__file__).parents[2] / "tunes"
NAMES = sorted(path.stem for path in TUNES.glob("*.txt"))
SOME = [
    "old_hundredth block",
    "auld_lang_syne auto",
    "bobby_shafto block",
    "greensleeves hymn",
    "kitchen_clock auto",
]
"""Block chords, pickups, two verses, held syllables, endings, triplets, minor."""
SCORES = [f"{name} {how}" for name in NAMES for how in ("auto", "block", "hymn")]
SCORES = SCORES if PROFILE == "night" else SOME
TICKS = 384
"""Ticks of a crotchet in LilyPond's MIDI files."""
IN_ABC = NAMES if PROFILE == "night" else sorted({own.split()[0] for own in SOME})


def tune_called(name: str) -> Tune:
    (tune,) = read_tunes(TUNES / f"{name}.txt")
    return tune


@cache
def made(score: str) -> Arrangement:
    name, how = score.split()
    return arrange(tune_called(name), Style(level=3, texture=Texture(how)))


def sung(tune: Tune, verse: int) -> Words:
    """Return the syllables of a verse with the onsets of their notes."""
    return [
        (note.onset, words.text)
        for note in tune.sounding
        for words in note.syllables[verse : verse + 1]
        if words
    ]


HELD = (Texture.BLOCK, Texture.HYMN)


def under_held_notes(texture: Texture) -> Arrangement:
    """Return an arrangement whose chords change under notes of the tune."""
    (tune,) = parse_tunes(
        b"Key: C\nTempo: 100\nG - - - | E5 - D5.C5 B | C5 - - - | D5 - C5 - ||\n"
        b"Chords: C - G7 - | C - G - | F - C F | G - C - |\n"
    )
    return arrange(tune, Style(texture=texture))


@pytest.mark.parametrize("texture", HELD)
def test_music21_and_verovio_find_symbols_under_held_notes(texture: Texture) -> None:
    import verovio  # noqa: PLC0415 (slow to load)
    from music21 import converter  # noqa: PLC0415, TID251 (a slow oracle)

    page = under_held_notes(texture)
    wanted = [(chord.onset, str(chord.chord)) for chord in chords_of(page)]
    assert {(2, "G7"), (10, "C"), (11, "F")} <= set(wanted)
    text = format_musicxml(page).decode()
    treble, bass = converter.parse(text, format="musicxml").parts
    symbols = [
        (Fraction(own.getOffsetInHierarchy(treble)), own.figure)
        for own in treble.recurse().getElementsByClass("ChordSymbol")
    ]
    assert symbols == wanted
    assert not list(bass.recurse().getElementsByClass("ChordSymbol"))
    kit = verovio.toolkit()
    kit.loadData(text)
    bars = kit.getMEI().split("<measure ")[1:]
    found = [
        4 * bar + Fraction(beat) - 1
        for bar, mei in enumerate(bars)
        for beat in re.findall('<harm [^>]*staff="1" [^>]*tstamp="([0-9.]+)"', mei)
    ]
    assert sorted(found) == [onset for onset, _ in wanted]


def tempos(file: mido.MidiFile) -> list[float]:
    """Return the crotchets a minute that a file sets."""
    messages = [own for track in file.tracks for own in track]
    return [mido.tempo2bpm(own.tempo) for own in messages if own.type == "set_tempo"]


def first_tempo(tune: Tune) -> float:
    mark = tune.tempos[0]
    assert mark.per_minute
    return float(mark.per_minute * mark.beat)


@needs("musicxml2ly", "lilypond")
def test_lilypond_reads_our_scores_as_we_meant_them(tmp_path: Path) -> None:
    """All scores in one run: LilyPond takes a second to start."""
    pages = {score.replace(" ", "-"): made(score) for score in SCORES}
    pages |= {f"held-{how.value}": under_held_notes(how) for how in HELD}
    scores = {name: format_musicxml(page) for name, page in pages.items()}
    for name, (written, played) in read_by_lilypond(scores, tmp_path).items():
        page = pages[name]
        assert_same_notes_and_tempo(page, written)
        assert_same_words(page, written)
        assert_same_symbols(page, written)
        heard = [x for track in played.tracks for x in sounds(track, TICKS)]
        notes = perform(page).notes
        assert sorted(heard) == sorted((n.at, n.at + n.length, n.midi) for n in notes)


def staves(file: mido.MidiFile) -> list[mido.MidiTrack]:
    """Return the tracks of the staves and of the lines of words, from the top."""
    return [track for track in file.tracks if not track.name.endswith("Chords:")]


def assert_same_notes_and_tempo(page: Arrangement, file: mido.MidiFile) -> None:
    heard = [row for track in staves(file) for row in sounds(track, TICKS)]
    assert sorted(heard) == sorted(
        (note.onset, note.onset + note.length, note.pitch.midi) for note in page.notes
    )
    assert tempos(file) == pytest.approx([first_tempo(page.tune)], abs=0.01)


def assert_same_words(page: Arrangement, file: mido.MidiFile) -> None:
    texts = [words_of(track, TICKS) for track in staves(file)]
    for verse in range(page.tune.verses):
        assert sung(page.tune, verse) in texts
    # Numerals are words of the bass staff, the last track.
    numerals = {slot.onset: letters(slot.numeral) for slot in page.slots if slot.chord}
    printed = texts[-1]
    assert printed[0][0] == min(numerals)
    assert all(letters(text) == in_force(numerals, at) for at, text in printed)


def letters(numeral: str) -> str:
    """Return a numeral without its figures, small or not."""
    return numeral.rstrip("⁰¹²³⁴⁵⁶⁷⁸⁹₀₁₂₃₄₅₆₇₈₉0123456789/")


def in_force(found: Mapping[Fraction, _Found], at: Fraction) -> _Found:
    """Return the last of what stands at or before a time."""
    return found[max(onset for onset in found if onset <= at)]


def assert_same_symbols(page: Arrangement, file: mido.MidiFile) -> None:
    """The converter passes G on as `g:5`, for LilyPond 2.24 a bare fifth."""
    heard: dict[Fraction, set[int]] = {}
    for track in file.tracks:
        for at, _, key in (
            sounds(track, TICKS) if track.name.endswith("Chords:") else ()
        ):
            heard.setdefault(at, set()).add(key % 12)
    wanted = {}
    for chord in chords_of(page):
        root, third, *others = (own.pitch_class for own in chord.chord.members)
        bass = chord.chord.bass.pitch_class
        wanted[chord.onset] = {root, bass, *([third] * bool(others[1:])), *others}
    assert all(keys == in_force(wanted, at) for at, keys in heard.items())
    assert wanted.keys() <= heard.keys()


@pytest.mark.parametrize("score", SCORES)
def test_verovio_plays_notes_words_and_tempo_as_we_meant(score: str) -> None:
    import verovio  # noqa: PLC0415 (slow to load)

    page = made(score)
    kit = verovio.toolkit()
    assert kit.loadData(format_musicxml(page).decode())
    file = mido.MidiFile(file=BytesIO(b64decode(kit.renderToMIDI())), charset="utf-8")
    ticks = file.ticks_per_beat
    heard = [row for track in file.tracks for row in struck(track, ticks)]
    played = perform(page).notes
    assert sorted(heard) == sorted((n.at, n.midi) for n in played)
    assert tempos(file) == pytest.approx([first_tempo(page.tune)], abs=0.01)
    texts = dict(words_of(file.tracks[1], ticks))
    for onset, text in sung(page.tune, 0) if page.tune.verses == 1 else ():
        assert texts[onset] == text


def struck(track: mido.MidiTrack, ticks: int) -> list[tuple[Fraction, int]]:
    """Return when keys go down, of programs that let them go a little early."""
    rows = []
    now = 0
    for message in track:
        now += message.time
        if message.type == "note_on" and message.velocity:
            rows.append((near(now, ticks), message.note))
    return rows


def chords_played(page: Arrangement) -> dict[Fraction, set[int]]:
    """Return the keys of each chord, from 0 to 11, by when it begins."""
    played: dict[Fraction, set[int]] = {}
    for passage in perform(page).passages:
        for slot in page.slots:
            if passage.start <= slot.onset < passage.end:
                members = slot.chord.members if slot.chord else ()
                at = passage.at + slot.onset - passage.start
                played[at] = {own.pitch_class for own in members}
    return played


@needs("abc2midi")
@pytest.mark.parametrize("name", IN_ABC)
def test_abc2midi_plays_tune_chords_and_words_as_we_meant(
    tmp_path: Path, name: str
) -> None:
    page = arrange(tune_called(name), Style(level=2))
    abc = format_abc(page.tune, chords_of(page))
    quavers = int(page.tune.bars[0].time.bar_length * 2)
    file = read_by_abc2midi(abc, quavers, tmp_path)
    ticks = file.ticks_per_beat
    tune, chord_track = file.tracks[1:3]
    played = [(n.at, n.midi) for n in perform(page).notes if n.voice is Voice.TUNE]
    assert struck(tune, ticks) == played
    assert tempos(file) == pytest.approx([first_tempo(page.tune)], abs=0.01)
    chords = chords_played(page)
    strums: dict[Fraction, set[int]] = {}
    for at, key in struck(chord_track, ticks):
        strums.setdefault(at, set()).add(key % 12)
    # ABC has no sign for the end of a chord, so it strums on in a pickup without one.
    for at, keys in strums.items():
        assert keys == in_force(chords, at) or not in_force(chords, at)
    assert strums.keys() >= {at for at, keys in chords.items() if keys}
    texts = words_of(tune, ticks, "text")
    told = [(at, text.lstrip("/\\ ")) for at, text in texts]
    for syllable in sung(page.tune, 0) if page.tune.verses else ():
        assert syllable in told


@needs("abcm2ps")
@pytest.mark.parametrize("name", IN_ABC)
def test_abcm2ps_draws_notes_words_and_symbols_as_we_meant(
    tmp_path: Path, name: str
) -> None:
    page = arrange(tune_called(name), Style(level=2))
    chords = chords_of(page)
    drawn = drawn_by_abcm2ps(format_abc(page.tune, chords), tmp_path)
    # Tied parts of a note are drawn apart.
    heads = [step for step, _ in groupby(drawn.heads)]
    assert heads == [step for step, _ in groupby(map(staff_step, page.tune.sounding))]
    onsets = {note.onset: staff_step(note) for note in page.tune.sounding}
    for verse, words in enumerate(drawn.words):
        under = [(text, drawn.heads[head]) for text, head in words]
        assert under == [(text, onsets[at]) for at, text in sung(page.tune, verse)]
    texts = [text.replace("♭", "b").replace("♯", "#") for text, _ in drawn.symbols]
    assert texts == [str(own.chord) for own in chords]
    for (_, head), chord in zip(drawn.symbols, chords, strict=True):
        if chord.onset in onsets:
            assert drawn.heads[head] == onsets[chord.onset]


def staff_step(note: TuneNote) -> int:
    """Return the letters from C0 up to a note."""
    assert note.pitch
    return note.pitch.octave * 7 + note.pitch.letter


@needs("fluidsynth")
def test_fluidsynth_plays_the_keys_that_we_meant_in_time(tmp_path: Path) -> None:
    page = made("kitchen_clock auto")
    sent, recording = played_by_fluidsynth(format_midi(page), tmp_path)
    performed = perform(page)
    down = [key for kind, _, key in sent if kind == "noteon"]
    assert Counter(down) == Counter(note.midi for note in performed.notes)
    assert len(sent) == 2 * len(down)
    tune = [note.midi for note in performed.notes if note.voice is Voice.TUNE]
    heard = [key for kind, hand, key in sent if kind == "noteon" and hand == 0]
    assert heard == tune
    # In the recording, keys that were let go a beat ago sound from their time on.
    second = 60 / performed.speeds[0].per_minute
    fresh = [note for note in performed.notes if was_silent(note, performed.notes)]
    assert len(fresh) >= 20
    for note in fresh:
        at = float(note.at * second)
        before, after = (recording.loudness(note.midi, at - x) for x in (LISTENED, 0))
        assert after > 15
        assert before < after / 10


def was_silent(note: Struck, notes: Sequence[Struck]) -> bool:
    """Whether no octave of a key sounded in the beat before it is struck."""
    alike = [own for own in notes if (own.midi - note.midi) % 12 == 0]
    return not any(own.at < note.at <= own.at + own.length + 1 for own in alike)

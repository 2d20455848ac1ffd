"""ABC that we write: to us it is the same tune again, to music21 the same notes."""

from fractions import Fraction
from itertools import pairwise, product
from pathlib import Path

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from makers.profiles import examples, spread
from makers.tunes import tunes
from oracles.abc_reading import (
    COLLECTIONS,
    Song,
    our_notes,
    our_tune,
    songs,
    their_notes,
)

from harmonise.errors import OutputError
from harmonise.notation.abc.abc_tune import parse_abc
from harmonise.notation.abc.abc_writer import format_abc
from harmonise.notation.formats import read_tunes
from harmonise.theory.chord import Chord, Quality, parse_symbol
from harmonise.theory.key import Key, Mode, parse_key
from harmonise.theory.metre import TimeSignature
from harmonise.theory.pitch import Pitch, PitchName, parse_pitch
from harmonise.theory.tune import (
    Bar,
    ChordAt,
    Grace,
    KeyChange,
    Syllable,
    Tempo,
    Tune,
    TuneNote,
)

OWN = sorted((Path(__file__).parents[3] / "tunes").glob("*.txt"))
COMMON = TimeSignature(4, 4)


def plain(tune: Tune) -> Tune:
    """Return a tune without what ABC does not carry: remarks, lines, "guessed"."""
    notes = tuple(note._replace(line=0) for note in tune.notes)
    return tune._replace(notes=notes, remarks=(), key_guessed=False)


def sounding(tune: Tune) -> Tune:
    """Return a plain tune without its rests, which ABC cuts at every bar line."""
    return plain(tune)._replace(notes=plain(tune).sounding)


def again(tune: Tune, chords: tuple[ChordAt, ...] = ()) -> Tune:
    """Return what is read of what was written."""
    (read,) = parse_abc(format_abc(tune, chords))
    return read


def in_sections(tune: Tune) -> Tune:
    """Return a tune as ABC divides it: no double bar beside a repeat or at the end."""
    bars = list(tune.bars)
    for index, bar in enumerate(bars):
        after = bars[index + 1] if index + 1 < len(bars) else None
        if after is None or after.repeat_start or bar.repeat_end > 1:
            bars[index] = bar._replace(double=False)
    return tune._replace(bars=tuple(bars))


# Laws.


@st.composite
def marked_tunes(draw: st.DrawFn) -> tuple[Tune, tuple[ChordAt, ...]]:
    """A random tune with marks, and chords for it."""
    tune = draw(tunes())
    assume(len(tune.bars) > 1)  # A pickup to nothing is no pickup in ABC.
    return with_marks(draw, tune), some_chords(draw, tune)


@given(marked_tunes())
@settings(deadline=None, derandomize=True, max_examples=examples(300))
def test_a_random_tune_with_chords_and_marks_comes_back(
    marked: tuple[Tune, tuple[ChordAt, ...]],
) -> None:
    tune, chords = marked
    read = again(tune, chords)
    assert sounding(read) == sounding(tune)._replace(symbols=chords)
    assert all(one.end == two.onset for one, two in pairwise(read.notes))


def with_marks(draw: st.DrawFn, tune: Tune) -> Tune:
    """Return a tune with grace notes, fermatas, a slur, verses and a later key."""
    verses = draw(st.integers(0, 2))
    pieces = st.sampled_from(["la", "self-made", "o'er the", "100%", "a_b*c|d~", "\\"])
    words = st.none() | st.builds(Syllable, pieces, st.booleans(), st.just(value=False))
    notes = [
        note._replace(
            fermata=draw(st.integers(0, 5)) == 0,
            graces=draw(st.sampled_from(GRACES)) if note.pitch else (),
            syllables=tuple(draw(words) for _ in range(verses)) if note.pitch else (),
        )
        for note in tune.notes
    ]
    struck = [index for index, note in enumerate(notes) if note.pitch]
    if len(struck) > 1:
        first, last = struck[0], draw(st.sampled_from(struck[1:]))
        notes[first] = notes[first]._replace(slur_starts=1)
        notes[last] = notes[last]._replace(slur_ends=1)
    _hold(draw, notes, struck, verses)
    changes = list(tune.keys)
    key = Key(PitchName(3), Mode.DORIAN)
    if len(tune.notes) > 2 and tune.key != key:
        changes.append(KeyChange(draw(st.sampled_from(tune.notes[1:])).onset, key))
    return tune._replace(notes=tuple(notes), keys=tuple(changes), verses=verses)


def _hold(
    draw: st.DrawFn, notes: list[TuneNote], struck: list[int], verses: int
) -> None:
    """Let some syllables run on over the bare note that follows."""
    for (first, second), verse in product(pairwise(struck), range(verses)):
        word = notes[first].syllables[verse]
        bare = notes[second].syllables[verse] is None
        if word and bare and not word.joins and draw(st.booleans()):
            words = list(notes[first].syllables)
            words[verse] = word._replace(extends=True)
            notes[first] = notes[first]._replace(syllables=tuple(words))


GRACES = (
    (),
    (),
    (Grace(Pitch(1, 1, 5)),),
    (Grace(Pitch(1, 1, 4)), Grace(Pitch(2, 0, 4), slashed=False, value=Fraction(1, 4))),
)


def some_chords(draw: st.DrawFn, tune: Tune) -> tuple[ChordAt, ...]:
    """Return chords that begin anywhere on or between beats, with gaps."""
    ends = st.integers(0, int(tune.end * 2))
    places = sorted({Fraction(n, 2) for n in draw(st.lists(ends, max_size=8))})
    symbols = st.sampled_from(["C", "F#m7", "Bb/D", "G7", "Ddim", "Asus4", ""])
    drawn = [
        (start, end, draw(symbols))
        for start, end in pairwise(places)
        if end <= tune.end
    ]
    return tuple(
        ChordAt(start, end, parse_symbol(text)) for start, end, text in drawn if text
    )


@pytest.mark.parametrize("path", OWN, ids=lambda path: path.stem)
def test_our_own_tunes_come_back_and_music21_hears_them(path: Path) -> None:
    for tune in read_tunes(path):
        bare = tune._replace(locks=(), symbols=())
        assert plain(again(bare)) == in_sections(plain(bare))
        assert their_notes(format_abc(tune)) == our_notes(tune)


def corpus(first: int, step: int) -> list[tuple[Song, Tune]]:
    """Return every n-th tune of music21's collections that we can read."""
    found = [song for name in COLLECTIONS for song in songs(name)[first::step]]
    return [(song, tune) for song in found if (tune := our_tune(song))]


@pytest.mark.slow
def test_tunes_of_old_books_come_back_the_same() -> None:
    sample = corpus(5, 36)
    assert len(sample) >= 300
    for song, tune in sample:
        assert plain(again(tune)) == plain(tune), song.name


@pytest.mark.slow
def test_music21_hears_old_tunes_as_they_were_before_we_wrote_them() -> None:
    # Source: the ABC reader of music21, told that the text follows ABC 2.1.
    sample = corpus(3, 36)
    assert len(sample) >= 300
    for song, tune in spread(sample, 90):
        assert their_notes(format_abc(tune)) == our_notes(tune), song.name


# What the page looks like.

CASES = [
    # What is written, the body of an ABC tune in C, 4/4, L:1/4.
    ("a tie over a bar line keeps its accidental", "^F4- | ^F2 F2 |]"),
    ("a pickup", "G | c2 G2 | E3 |]"),
    ("a triplet", "(3C/2D/2E/2 C (3:2:2E2 C |]"),
    ("a note that no single value shows", "C3/2 D/2- D2 |]"),
    ("quavers stand together by the beat", "C/2D/2 E/2F/2 G2 |]"),
    ("grace notes, slurs and a fermata", "{/B}(c d) {e}!fermata!c2 |]"),
    ("repeats and endings", "|: C4 | [1 D4 :| [2 E4 |]"),
    ("a repeat played three times", "|: C4 ::| D4 |]"),
    ("a double bar ends a line", "C4 ||\nD4 |]"),
    ("a label over a bar", "P:Verse\nC4 | [P:Chorus] D4 |]"),
    ("key, time and tempo change", "C4 | [M:3/4] [K:D] [Q:1/4=90] F C =C |]"),
    ("a key changes where a line begins", "C4 |\nK:Am\nA4 |]"),
    ("words", "C D E2 | F4 |]\nw:O my-self_"),
    ("a divided word over two notes", "C D E2 | F4 |]\nw:al-le--lu"),
    ("verses", "C D E2- | E4 |]\nw:one two three_\nw:* deux"),
    ("a line without words", "C4 |\nw:la\nD4 |\nw:\nE4 |]\nw:lo"),
    ("chord symbols", '"C"C2 "G7/B"D2 | "N.C."C4 |]'),
    ("a chord under a held note", '"C"C2- "F"C2 |]'),
    ("a segno, a coda and jumps", '!segno!C4 | D4 "^D.S. al Coda"| !coda!E4 !fine!|]'),
    ("an accidental in another octave", "^F =f ^f =F |]"),
    ("a bar split by a repeat", "G | C3 :|\n|: G | C3 :|"),
    ("an ending inside a bar", "|: C2 [1 D2 :| [2 E2 |]"),
    ("a dotted bar line", "C2 .| D2 | E4 |]"),
]


@pytest.mark.parametrize(("name", "body"), CASES)
def test_the_page_is_written_as_musicians_write_it(
    name: str, body: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    module = "harmonise.notation.abc.abc_writer"
    monkeypatch.setattr(f"{module}._unit", lambda _tune: Fraction(1))
    header = "%abc-2.1\nX:1\nT:\nM:4/4\nL:1/4\nI:linebreak <EOL>\nK:C\n"
    (tune,) = parse_abc(header + body)
    assert plain(again(tune)) == plain(tune), name
    written = format_abc(tune).split("K:C\n", 1)[1]
    assert written.split() == body.split()


def test_a_header_says_who_what_and_how_fast() -> None:
    tune = _tune([TuneNote(Fraction(0), Fraction(4), parse_pitch("A4"))])
    tempo = Tempo(Fraction(0), Fraction(96), Fraction(3, 2), 'Not "too" fast [1]')
    tune = tune._replace(title="100% \\ & $ Jig", origin="trad.", tempos=(tempo,))
    assert format_abc(tune).splitlines()[:7] == [
        "%abc-2.1",
        "X:1",
        r"T:100\% \\ &amp; $ Jig",
        "O:trad.",
        "M:4/4",
        "L:1/8",
        r'Q:"Not \u0022too\u0022 fast [1\u005d" 3/8=96',
    ]
    assert plain(again(tune)) == tune


@pytest.mark.parametrize(
    ("key", "field"),
    [
        # Source: ABC 2.1, section 3.1.14, names of modes.
        ("C", "C"),
        ("F# minor", "F#m"),
        ("A aeolian", "Aaeo"),
        ("D dorian", "Ddor"),
        ("Bb mixolydian", "Bbmix"),
    ],
)
def test_a_key_is_named_with_its_mode(key: str, field: str) -> None:
    note = TuneNote(Fraction(0), Fraction(4), parse_pitch("A4"))
    tune = _tune([note])._replace(keys=(KeyChange(Fraction(0), parse_key(key)),))
    assert f"\nK:{field}\n" in format_abc(tune)
    assert again(tune).key == parse_key(key)


def test_locked_chords_are_printed_where_no_others_are_given() -> None:
    (tune,) = read_tunes("Key: C\nC D E F | G - - -\nChords: C F | G7")
    assert [str(at.chord) for at in again(tune).symbols] == ["C", "F", "G7"]
    given = (ChordAt(Fraction(0), Fraction(8), parse_symbol("Am")),)
    assert again(tune, given).symbols == given


# What cannot be said.


def _tune(notes: list[TuneNote], bars: tuple[Bar, ...] = ()) -> Tune:
    bars = bars or (Bar(1, Fraction(0), Fraction(4), COMMON),)
    keys = (KeyChange(Fraction(0), Key(PitchName(0))),)
    return Tune("Test", tuple(notes), bars, keys, phrases=(bars[-1].end,))


WHOLE = TuneNote(Fraction(0), Fraction(4), parse_pitch("C4"))
TWO = (
    Bar(1, Fraction(0), Fraction(4), COMMON, repeat_end=2),
    Bar(2, Fraction(4), Fraction(4), COMMON),
)
SILENT, LATER = WHOLE._replace(pitch=None), WHOLE._replace(onset=Fraction(4))
REFUSED = [
    (
        _tune([WHOLE._replace(pitch=Pitch(0, 0, 9))]),
        "Bar 1, beat 1: C9 is above the top of the piano. Write MusicXML instead.",
    ),
    (
        _tune([WHOLE._replace(pitch=Pitch(0, 3, 4))]),
        (
            "Bar 1, beat 1: ABC has no accidental for C###4. Spell it with two sharps "
            "or flats at most."
        ),
    ),
    (
        _tune([WHOLE._replace(length=Fraction(8))], TWO),
        "Bar 1, beat 1: the note C4 cannot be said in ABC. Write MusicXML instead.",
    ),
    (
        _tune([SILENT._replace(graces=(Grace(Pitch(0, 0, 4)),)), LATER], TWO),
        "Bar 1, beat 1: this rest cannot be said in ABC. Write MusicXML instead.",
    ),
    (
        _tune([WHOLE])._replace(end_text=((Fraction(4), "Repeat and fade"),)),
        (
            "Bar 1, beat 5: “Repeat and fade” cannot be said in ABC. Write "
            "MusicXML instead."
        ),
    ),
    (
        _tune([WHOLE])._replace(tempos=(Tempo(Fraction(0), Fraction(1000, 3)),)),
        "Bar 1, beat 1: this tempo cannot be said in ABC. Write MusicXML instead.",
    ),
    (
        _tune([WHOLE])._replace(title="Cost: $1"),
        "The title cannot be said in ABC. Write MusicXML instead.",
    ),
    (
        _tune([WHOLE], (Bar(1, Fraction(0), Fraction(4), COMMON, offset=Fraction(1)),)),
        "Bar 1, beat 1: this bar cannot be said in ABC. Write MusicXML instead.",
    ),
    (
        _tune(
            [WHOLE, WHOLE._replace(onset=Fraction(4))],
            (TWO[0]._replace(repeat_end=1, ending=(1,)), TWO[1]),
        ),
        (
            "Bar 1: ABC cannot end an ending before a plain bar line. Put a double bar "
            "or a repeat sign there."
        ),
    ),
]


@pytest.mark.parametrize(("tune", "sentence"), REFUSED)
def test_what_abc_cannot_say_is_refused_with_its_place(
    tune: Tune, sentence: str
) -> None:
    with pytest.raises(OutputError) as caught:
        format_abc(tune)
    assert str(caught.value) == sentence


def test_a_chord_that_abc_cannot_name_is_refused() -> None:
    chord = Chord(PitchName(3, 2), Quality.MINOR)
    with pytest.raises(OutputError) as caught:
        format_abc(_tune([WHOLE]), [ChordAt(Fraction(2), Fraction(4), chord)])
    assert str(caught.value) == (
        "Bar 1, beat 3: ABC has no chord symbol for F##m. Write MusicXML instead."
    )


def test_two_chords_at_once_are_refused() -> None:
    first = ChordAt(Fraction(0), Fraction(3), parse_symbol("C"))
    with pytest.raises(OutputError) as caught:
        format_abc(_tune([WHOLE]), [first, first._replace(onset=Fraction(2))])
    assert str(caught.value) == (
        "Bar 1, beat 3: C begins under another chord. Write one chord at a time."
    )


def test_the_same_tune_gives_the_same_bytes() -> None:
    (tune,) = read_tunes(OWN[0])
    assert format_abc(tune) == format_abc(tune)

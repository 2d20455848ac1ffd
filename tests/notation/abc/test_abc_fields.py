"""The fields of ABC: keys in all modes, metres, tempos, titles; chord symbols, jumps.

Tables and examples are the standard's own (ABC 2.1, December 2011) where a section is
named; chord suffixes beyond section 4.18 are common practice.
"""

from fractions import Fraction

import pytest
from makers.abc_tunes import pitches, read, said

from harmonise.notation.abc.abc_words import parse_string
from harmonise.notation.abc.fields import parse_metre, parse_tempo
from harmonise.notation.abc.key_fields import parse_key_field, signature_alters
from harmonise.notation.abc.notes import read_symbol
from harmonise.theory.key import Mode
from harmonise.theory.tune import Tempo

# Section 3.1.14: the table of key signatures, from 7 sharps down to 7 flats.
ROWS = """
C# A#m G#Mix D#Dor E#Phr F#Lyd B#Loc
F# D#m C#Mix G#Dor A#Phr BLyd E#Loc
B G#m F#Mix C#Dor D#Phr ELyd A#Loc
E C#m BMix F#Dor G#Phr ALyd D#Loc
A F#m EMix BDor C#Phr DLyd G#Loc
D Bm AMix EDor F#Phr GLyd C#Loc
G Em DMix ADor BPhr CLyd F#Loc
C Am GMix DDor EPhr FLyd BLoc
F Dm CMix GDor APhr BbLyd ELoc
Bb Gm FMix CDor DPhr EbLyd ALoc
Eb Cm BbMix FDor GPhr AbLyd DLoc
Ab Fm EbMix BbDor CPhr DbLyd GLoc
Db Bbm AbMix EbDor FPhr GbLyd CLoc
Gb Ebm DbMix AbDor BbPhr CbLyd FLoc
Cb Abm GbMix DbDor EbPhr FbLyd BbLoc
"""
TABLE = [
    pytest.param(name, 7 - row, column, id=name)
    for row, line in enumerate(ROWS.split("\n")[1:-1])
    for column, name in enumerate(line.split())
]
MODES = (Mode.MAJOR, Mode.MINOR, Mode.MIXOLYDIAN, Mode.DORIAN)


@pytest.mark.parametrize(("name", "fifths", "column"), TABLE)
def test_every_key_of_the_table_has_its_signature(
    name: str, fifths: int, column: int
) -> None:
    field = parse_key_field(name)
    assert field.alters == signature_alters(fifths)
    assert field.key is not None
    assert field.key.fifths == fifths
    if column < 4:
        tonic = name[: 2 if name[1:2] in ("#", "b") else 1]
        assert (str(field.key.tonic), field.key.mode) == (tonic, MODES[column])
        assert field.remark == ""
    else:
        assert "is not one of our modes" in field.remark


@pytest.mark.parametrize(
    ("written", "key"),
    [
        ("C major", "C major"),
        ("A minor", "A minor"),
        ("C ionian", "C major"),
        ("A aeolian", "A aeolian"),
        ("G mixolydian", "G mixolydian"),
        ("D dorian", "D dorian"),
        ("F# mixolydian", "F# mixolydian"),
        ("F#Mix", "F# mixolydian"),
        ("F#MIX", "F# mixolydian"),
        ("Am", "A minor"),
        ("AMIN", "A minor"),
        ("E phrygian", "A minor"),
        ("F lydian", "C major"),
        ("B locrian", "A minor"),
        ("D maj =c", "D mixolydian"),
        ("D =c", "D mixolydian"),
        ("Dmix=c", "D mixolydian"),
        ("G ^c", "D major"),
        ("E♭", "Eb major"),
    ],
)
def test_keys_are_named_in_many_ways(written: str, key: str) -> None:
    """Section 3.1.14, with every spelling that it gives."""
    assert str(parse_key_field(written).key) == key


@pytest.mark.parametrize("written", ["D Phr ^f", "D exp _b _e ^f", "D exp _B_E^F"])
def test_a_signature_of_its_own_is_read_note_by_note(written: str) -> None:
    """Section 3.1.14: the two ways to write Ahavoh Rabboh."""
    tune = read("DEFG|ABcd|", f"M:4/4\nL:1/4\nK:{written}")
    assert " ".join(str(note.pitch) for note in tune.notes) == (
        "D4 Eb4 F#4 G4 A4 Bb4 C5 D5"
    )
    assert str(tune.key) == "D mixolydian"
    assert said(tune) == [
        (
            "Bar 1: The signature (Eb, F#, Bb) belongs to no mode of ours: every note "
            "is read as written, and the key is given as D mixolydian, the nearest."
        )
    ]


def test_a_mode_that_is_not_ours_is_told() -> None:
    tune = read("EFGA|B4|", "M:4/4\nL:1/4\nK:Ephr")
    assert said(tune) == [
        (
            "Bar 1: E phrygian is not one of our modes: every note is read as written, "
            "and the key is given as A minor, which has the same signature."
        )
    ]


@pytest.mark.parametrize("kind", ["HP", "Hp"])
@pytest.mark.parametrize(
    ("last", "key"),
    [("A", "A mixolydian"), ("d", "D major"), ("B", "B minor"), ("e", "E dorian")],
)
def test_pipe_tunes_sound_f_sharp_and_c_sharp(kind: str, last: str, key: str) -> None:
    """Section 3.1.14: the scale G A B ^c d e ^f g a and its four modes."""
    tune = read(f"GABc|defg|{last}4|", f"M:4/4\nL:1/4\nK:{kind}")
    assert " ".join(str(note.pitch) for note in tune.notes[:8]) == (
        "G4 A4 B4 C#5 D5 E5 F#5 G5"
    )
    assert str(tune.key) == key
    assert tune.key_guessed
    assert said(tune)[0] == (
        f"Bar 1: K:{kind}: every F and C is read as F# and C#, as the pipes sound "
        f"them. The key is taken to be {key}, which is a guess."
    )


@pytest.mark.parametrize("written", ["", "none"])
def test_without_a_key_the_notes_are_plain_and_the_key_a_guess(written: str) -> None:
    tune = read("ABcd|e2d2|cABA|A4|", f"M:4/4\nL:1/4\nK:{written}")
    assert (str(tune.key), tune.key_guessed) == ("A aeolian", True) or (
        str(tune.key),
        tune.key_guessed,
    ) == ("A minor", True)
    assert said(tune) == [
        (
            "Bar 1: No key is given: the notes are read as written. The key is taken "
            f"to be {tune.key}, which is a guess."
        )
    ]


def test_a_key_inside_the_music_holds_from_there() -> None:
    tune = read("FCFC|[K:D]FCFC|\nK:F\nB4|")
    assert [(str(c.onset), str(c.key)) for c in tune.keys] == [
        ("0", "C major"),
        ("4", "D major"),
        ("8", "F major"),
    ]
    assert pitches("FCFC|[K:D]FCFC|\nK:F\nB4|") == ("F4 C4 F4 C4 F#4 C#4 F#4 C#4 Bb4")


def test_a_clef_inside_the_music_changes_no_key() -> None:
    tune = read("F4|[K:clef=bass]F4|", "M:4/4\nL:1/4\nK:D")
    assert [str(change.key) for change in tune.keys] == ["D major"]
    assert str(tune.notes[1].pitch) == "F#4"


# Section 3.1.6: metre.


@pytest.mark.parametrize(
    ("written", "time"),
    [
        ("6/8", "6/8"),
        ("C", "4/4"),
        ("C|", "2/2"),
        ("(2+3+2)/8", "2+3+2/8"),
        ("2+3+2/8", "2+3+2/8"),
        ("none", "None"),
        ("", "None"),
    ],
)
def test_metres_are_read(written: str, time: str) -> None:
    assert str(parse_metre(written)) == time


def test_free_metre_gives_each_bar_its_own_time() -> None:
    tune = read("A3|B c/|A4 B|", "M:none\nL:1/4\nK:C")
    assert [str(bar.time) for bar in tune.bars] == ["3/4", "3/8", "5/4"]
    assert [bar.number for bar in tune.bars] == [1, 2, 3]
    assert said(tune) == [
        "The metre is free; each bar is given the time that its notes take."
    ]


def test_no_metre_field_is_free_metre() -> None:
    assert [str(bar.time) for bar in read("A3|", "L:1/4\nK:C").bars] == ["3/4"]


# Section 3.1.8 and 10.1: tempo.


@pytest.mark.parametrize(
    ("written", "per_minute", "beat", "words"),
    [
        ("1/2=120", "120", "2", ""),
        ("1/4 3/8 1/4 3/8=40", "40", "5", ""),
        ('"Allegro" 1/4=120', "120", "1", "Allegro"),
        ('3/8=50 "Slowly"', "50", "3/2", "Slowly"),
        ('"Andante mosso" 1/4 = 110', "110", "1", "Andante mosso"),
        ("120", "120", "1/2", ""),
        ("C=120", "120", "1/2", ""),
        ("C3=40", "40", "3/2", ""),
        ("1/4=92.5", "185/2", "1", ""),
    ],
)
def test_tempos_are_read(written: str, per_minute: str, beat: str, words: str) -> None:
    tempo = parse_tempo(written, Fraction(0), Fraction(1, 2))
    assert tempo is not None
    assert (str(tempo.per_minute), str(tempo.beat)) == (per_minute, beat)
    assert tempo.words == words


def test_a_tempo_in_the_music_holds_from_there() -> None:
    tune = read("CDEF|[Q:1/4=60]G4|", "M:4/4\nL:1/4\nQ:1/4=120\nK:C")
    assert [(str(t.onset), str(t.per_minute)) for t in tune.tempos] == [
        ("0", "120"),
        ("4", "60"),
    ]


def test_of_two_tempos_at_one_place_the_second_counts() -> None:
    tune = read("[Q:1/4=80]CDEF|", "M:4/4\nL:1/4\nQ:1/4=120\nK:C")
    assert [str(tempo.per_minute) for tempo in tune.tempos] == ["80"]


def test_a_tempo_may_be_told_in_words_alone() -> None:
    # ABC 2.1, section 3.1.8: "Q:"Andante"" is a tempo without a number.
    tune = read("C4|", 'M:4/4\nL:1/4\nQ:"Andante"\nK:C')
    assert tune.tempos == (Tempo(Fraction(0), None, words="Andante"),)


@pytest.mark.parametrize("written", ["allegro", "1/0=50", "1/4=0", "1/41/4=9"])
def test_a_tempo_without_a_number_is_told(written: str) -> None:
    tune = read("C4|", f"M:4/4\nL:1/4\nQ:{written}\nK:C")
    assert tune.tempos == ()
    assert said(tune) == [
        (
            f"Bar 1: Q: {written} gives no number of beats a minute; it was left out. "
            "Write a tempo such as Q:1/4=100."
        )
    ]


# Sections 3.1.2 to 3.1.4, 8.2, 14.1: text.


@pytest.mark.parametrize(
    ("written", "plain"),
    [
        (r"\`A \`a \`e \`o", "À à è ò"),
        (r"\'A \'a \'e \'o", "Á á é ó"),
        (r"\^A \^a \^e \^o", "Â â ê ô"),
        (r"\~A \~a \~n \~o", "Ã ã ñ õ"),
        (r"\"A \"a \"e \"o", "Ä ä ë ö"),
        (r"\cC \cc", "Ç ç"),
        (r"\AA \aa", "Å å"),
        (r"\/O \/o", "Ø ø"),
        (r"\uA \ua \uE \ue", "Ă ă Ĕ ĕ"),
        (r"\vS \vs \vZ \vz", "Š š Ž ž"),
        (r"\HO \Ho \HU \Hu", "Ő ő Ű ű"),
        (r"\ss \AE \ae \oe", "ß Æ æ œ"),
        (r"\u00e9 \U000000e9 &eacute;", "é é é"),
        (r"a\\b 100\% gin & tonic G\&T", r"a\b 100% gin & tonic G&T"),
        (r"\u266d \u266e \u266f", "♭ ♮ ♯"),
        ("$1font$0", "font"),
    ],
)
def test_accents_and_signs_of_text_strings(written: str, plain: str) -> None:
    """Section 8.2, the whole table."""
    assert parse_string(written) == plain


def test_the_first_title_composer_and_origin_are_kept() -> None:
    tune = read(
        "C4|",
        "T:Other\nC:Trad.\nO:Scotland\nS:A fiddler\nB:A book\nO:Scotland\nM:4/4\nK:C",
    )
    assert tune.title == "Test"
    assert (tune.composer, tune.origin) == ("Trad.", "Scotland; A fiddler; A book")


# Section 4.18: chord symbols.


@pytest.mark.parametrize(
    ("written", "symbol"),
    [
        ("C", "C"),
        ("Am", "Am"),
        ("Amin", "Am"),
        ("A-", "Am"),
        ("Cmaj", "C"),
        ("Bdim", "Bdim"),
        ("B°", "Bdim"),
        ("Caug", "Caug"),
        ("C+", "Caug"),
        ("Csus", "Csus4"),
        ("Am7", "Am7"),
        ("G7", "G7"),
        ("Cmaj7", "Cmaj7"),
        ("CM7", "Cmaj7"),
        ("F#m7b5", "F#m7b5"),
        ("Bbm", "Bbm"),
        ("B♭7", "Bb7"),
        ("C/E", "C/E"),
        ("D/f#", "D/F#"),
        ("G7/b", "G7/B"),
        ("G(Em)", "G"),
        ("C6", "C6"),
    ],
)
def test_chord_symbols_are_read(written: str, symbol: str) -> None:
    chord, told = read_symbol(written)
    assert chord is not None
    assert (chord.symbol, told) == (symbol, "")


@pytest.mark.parametrize(
    ("written", "symbol", "told"),
    [
        ("G9", "G7", 'the chord symbol "G9" is read as G7.'),
        ("C6/9", "C6", 'the chord symbol "C6/9" is read as C6.'),
        ("D7sus4", "Dsus4", 'the chord symbol "D7sus4" is read as Dsus4.'),
        ("Am/D", "Am", "Am has no D: the bass of Am/D is left out."),
        ("Slow", "None", '"Slow" is no chord symbol; it was left out.'),
        ("Cxyz", "None", '"Cxyz" is no chord symbol of ours; it was left out.'),
        ("am", "None", '"am" is no chord symbol; it was left out.'),
    ],
)
def test_what_is_no_chord_of_ours_is_told(written: str, symbol: str, told: str) -> None:
    chord, said_of_it = read_symbol(written)
    assert (str(chord), said_of_it) == (symbol, told)


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ('"Am"C2 "G7"D2|"C"E4|', "0-2 Am, 2-4 G7, 4-8 C"),
        ('C2 "G"D2|E4|', "2-8 G"),
        ('"C"C2-"G"C2|', "0-2 C, 2-4 G"),  # The second stands inside a tied note.
        ('"G""D7"C4|', "0-2 G, 2-4 D7"),  # Two over one note share it.
        ('"C"C2 "N.C."D2|"F"E4|', "0-2 C, 4-8 F"),
        ('"C"|C4|', "0-4 C"),
        ('"C"[CEG]4|', "0-4 C"),
        ('"^above""_below""<left"">right""@free"C4|', ""),
        ('"C"z2 "G"C2|', "0-2 C, 2-4 G"),
        ('"C"y "G"C>"F"D z2|', "0-3/4 C, 3/4-3/2 G, 3/2-4 F"),
    ],
)
def test_chord_symbols_last_to_the_next(body: str, expected: str) -> None:
    found = read(body).symbols
    assert ", ".join(f"{s.onset}-{s.end} {s.chord}" for s in found) == expected


def test_two_symbols_over_one_note_are_told() -> None:
    assert said(read('"G""D7"C4|')) == [
        "Bar 1, beat 1: 2 chord symbols stand over one note; they share its length."
    ]


# Jumps: sections 4.14 and 4.19.


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ('CDEF|GAB"Fine"c|CDEF "D.C. al Fine"||', "8 Fine, 12 D.C. al Fine"),
        ("CDEF|GABc !fine!|CDEF !D.C.!|", "8 Fine, 12 D.C."),
        ("!segno!CDEF|GABc !D.S.!|", "0 Segno, 8 D.S."),
        ("CDEF|SGABc|OC4|", "4 Segno, 8 Coda"),
        ('CDEF "^D.C."|', "4 D.C."),
        ("CDEF||!dacapo!", "4 D.C."),
        ("CDEF|GAB!fine!c|CDEF !D.C.alfine!||", "8 Fine, 12 D.C. al Fine"),
        ("CDEF !D.C.alcoda!|", "4 D.C. al Coda"),
        ("CDEF !D.S.alfine!|", "4 D.S. al Fine"),
        ("CDEF !D.S.alcoda!|", "4 D.S. al Coda"),
        ("CDEF !D.C.alFine!|", "4 D.C. al Fine"),
        ("CDEF !D.C. al Coda!|", "4 D.C. al Coda"),
        ("CDEF !dalsegno!|", "4 D.S."),
        ("CDEF !dacapoalfine!|", "4 D.C. al Fine"),
        ("CDEF !tocoda!|", "4 To Coda"),
        ('CDEF "Segno"|GABc|', "4 Segno"),
    ],
)
def test_jumps_stand_at_the_ends_of_their_bars(body: str, expected: str) -> None:
    found = read(body).end_text
    assert ", ".join(f"{onset} {words}" for onset, words in found) == expected


# Fields that are left out are told.


@pytest.mark.parametrize(
    ("header", "remark"),
    [
        ("W:La la", "Words under the tune (W:) belong to no note; they were left out."),
        (
            "m: ~G3 = G{A}G{F}G",
            "Macros (m:) are not expanded; the notes are read as written.",
        ),
        (
            "P:AABB",
            (
                'The parts are played in the order "AABB"; they were read once, as '
                "written."
            ),
        ),
    ],
)
def test_fields_that_are_left_out_are_told(header: str, remark: str) -> None:
    assert said(read("C4|", f"{header}\nM:4/4\nL:1/4\nK:C")) == [remark]


def test_information_fields_mean_nothing_to_the_notes() -> None:
    header = (
        "A:area\nD:disc\nF:file\nG:group\nH:history\nthat goes on\n"
        "I:abc-charset utf-8\nN:notes\nR:reel\nZ:who\nr:remark\nM:4/4\nL:1/4\nK:C"
    )
    tune = read("N:note\nCDEF|\nR:jig\n[N:x]G4|", header)
    assert said(tune) == []
    assert len(tune.notes) == 5


def test_a_field_that_nobody_knows_is_told() -> None:
    """Section 3: "programs should give a non-fatal error message"."""
    assert said(read("CDEF|\nJ:joy\nG4|")) == [
        "Bar 2, beat 1: ABC 2.1 knows no field J: it was passed over."
    ]

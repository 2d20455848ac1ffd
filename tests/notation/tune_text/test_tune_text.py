"""Tune text: the grammar of the manual, words and chords."""

from fractions import Fraction

import pytest

from harmonise.notation.tune_text.tune_text import parse_tune_text
from harmonise.theory.key import parse_key
from harmonise.theory.metre import TimeSignature
from harmonise.theory.tune import KeyChange, Tempo, Tune


def one(text: str) -> Tune:
    (tune,) = parse_tune_text(text)
    return tune


def spell(tune: Tune) -> str:
    """Notes as pitch:length, rests as 0:length."""
    return " ".join(f"{note.pitch or 0}:{note.length}" for note in tune.notes)


def sung(tune: Tune, verse: int = 0) -> str:
    """Words as they stand on the notes: a dot for a note without any."""
    found = []
    for note in tune.sounding:
        syllable = note.syllables[verse]
        if syllable is None:
            found.append(".")
        else:
            signs = "-" * syllable.joins + "_" * syllable.extends
            found.append(syllable.text + signs)
    return " ".join(found)


def layout(tune: Tune) -> str:
    """Bars as number:length, with +offset where their front is missing."""
    return " ".join(
        f"{bar.number}:{bar.length}{f'+{bar.offset}' if bar.offset else ''}"
        for bar in tune.bars
    )


# Readings: the examples of the manual, worked out by hand.


@pytest.mark.parametrize(
    ("text", "notes"),
    [
        pytest.param("Key: C\nC D E F", "C4:1 D4:1 E4:1 F4:1", id="one word one beat"),
        pytest.param("Key: C\nC - E 0", "C4:2 E4:1 0:1", id="hold and rest"),
        pytest.param("Key: C\nC 0 - E", "C4:1 0:2 E4:1", id="a rest is held too"),
        pytest.param(
            "Key: C\nE.F C.D.E G.A.B.C5 C",
            "E4:1/2 F4:1/2 C4:1/3 D4:1/3 E4:1/3 G4:1/4 A4:1/4 B4:1/4 C5:1/4 C4:1",
            id="a full stop splits the beat",
        ),
        pytest.param("Key: C\nC -.D E -", "C4:3/2 D4:1/2 E4:2", id="dotted note"),
        pytest.param("Key: C\nC.-.-.D E - -", "C4:3/4 D4:1/4 E4:3", id="dotted quaver"),
        pytest.param(
            "Key: C\nC D E F | - - G -", "C4:1 D4:1 E4:1 F4:3 G4:2", id="tie over a bar"
        ),
        pytest.param(
            "Key: C\nF# Bb C5 B3", "F#4:1 Bb4:1 C5:1 B3:1", id="signs and octaves"
        ),
        pytest.param(
            "Key: C\nF## Bbb En C♯5", "F##4:1 Bbb4:1 E4:1 C#5:1", id="double signs"
        ),
        pytest.param(
            "Key: G\nF G F G", "F4:1 G4:1 F4:1 G4:1", id="F is F natural in G"
        ),
        pytest.param(
            "Key: G\nSignature: on\nF Fn F# Fb",
            "F#4:1 F4:1 F#4:1 Fb4:1",
            id="letters under the signature",
        ),
        pytest.param(
            "Octave: 5\nKey: C\nC D4 E F", "C5:1 D4:1 E5:1 F5:1", id="octave 5"
        ),
        pytest.param(
            "Octave: 2\nKey: C\nC D3 C2 G2", "C2:1 D3:1 C2:1 G2:1", id="low tune"
        ),
        pytest.param(
            "Key: D\n1 3 1' 5,", "D4:1 F#4:1 D5:1 A3:1", id="degrees from the keynote"
        ),
        pytest.param(
            "Key: B\n1 2 7 2,,", "B4:1 C#5:1 A#5:1 C#3:1", id="keynote in C4 to B4"
        ),
        pytest.param(
            "Key: C\n#4 b7 ♭3 n5", "F#4:1 Bb4:1 Eb4:1 G4:1", id="signs before degrees"
        ),
        pytest.param(
            "Key: A minor\n3 6 7 #7", "C5:1 F5:1 G5:1 G#5:1", id="minor is lowered"
        ),
        pytest.param("Key: D dorian\n6 7 3 1", "B4:1 C5:1 F4:1 D4:1", id="in a mode"),
        pytest.param(
            "Key: G# minor\n#7 1 2 3", "F##5:1 G#4:1 A#4:1 B4:1", id="double sharp"
        ),
        pytest.param(
            "Key: C\nTime: 6/8\nC - - D E F", "C4:3/2 D4:1/2 E4:1/2 F4:1/2", id="6/8"
        ),
        pytest.param("Key: C\nTime: 2/2\nC D.E", "C4:2 D4:1 E4:1", id="minims"),
        pytest.param(
            "Key: C\nTime: 5/4 (2+3)\nC D E F G", "C4:1 D4:1 E4:1 F4:1 G4:1", id="5/4"
        ),
        # What can mean one thing only is read.
        pytest.param("Key: F\n1 3 8 5", "F4:1 A4:1 F5:1 C5:1", id="8 is the upper 1"),
        pytest.param("Key: C\n8, b8 8' 1", "C4:1 Cb5:1 C6:1 C4:1", id="8 with signs"),
        pytest.param("c bb f#.g c5", "C4:1 Bb4:1 F#4:1/2 G4:1/2 C5:1", id="small"),
        pytest.param("d f d f", "D4:1 F4:1 D4:1 F4:1", id="small, not sol-fa"),
        pytest.param("do re mi.fa so", "C4:1 D4:1 E4:1/2 F4:1/2 G4:1", id="names"),
        pytest.param(
            "Key: D\nDo' Ti, Sol# #fa", "D5:1 C#4:1 A#4:1 G#4:1", id="names by the key"
        ),
        pytest.param(
            "Key: C minor\nlah, doh te, me", "C4:1 Eb4:1 D4:1 G4:1", id="lah in minor"
        ),
        pytest.param("d m s m", "C4:1 E4:1 G4:1 E4:1", id="initials of names"),
    ],
)
def test_words_are_read_as_the_manual_says(text: str, notes: str) -> None:
    assert spell(one(text)) == notes


def test_kitchen_clock_reads_as_the_specification_spells_it_out() -> None:
    # TRADE 6.4: A4 G#4 A4 | C5(2) rest | D5 C5 B4 (thirds) A4 G#4 | E5 four beats | …
    tune = one(
        "Title: Kitchen Clock\nKey: A minor\nTime: 3/4\n"
        "|: 1 #7, 1 | 3 - 0 | 4.3.2 1 #7, | 5 - - | - 4 3 |\n"
        "2 -.1 #7, | [1 1 - 0 :| [2 1 - - ||\n"
    )
    assert spell(tune) == (
        "A4:1 G#4:1 A4:1 C5:2 0:1 D5:1/3 C5:1/3 B4:1/3 A4:1 G#4:1 E5:4 D5:1 C5:1 "
        "B4:3/2 A4:1/2 G#4:1 A4:2 0:1 A4:3"
    )
    assert [bar.number for bar in tune.bars] == [1, 2, 3, 4, 5, 6, 7, 8]
    assert tune.bars[0].repeat_start
    assert [bar.repeat_end for bar in tune.bars] == [1, 1, 1, 1, 1, 1, 2, 1]
    assert [bar.ending for bar in tune.bars[5:]] == [(), (1,), (2,)]
    assert tune.bars[7].double
    assert [str(end) for end in tune.phrases] == ["15", "24"]
    assert tune.remarks == ()


def test_a_bar_may_run_over_the_end_of_a_line() -> None:
    tune = one("Key: F\nC | F - F A | F F A\nC5 | D5 C5 A F | F - - |")
    assert layout(tune) == "0:1+3 1:4 2:4 3:4 4:3"
    assert [str(end) for end in tune.phrases] == ["8", "16"]
    assert [note.line for note in tune.notes[:3]] == [2, 2, 2]
    assert tune.notes[-1].line == 3


def test_a_bar_split_by_a_repeat_sign_has_one_number_and_an_offset() -> None:
    tune = one("Key: C\n|: G | C D E F | C - - :| |: G | C D E F | C - - :|")
    assert layout(tune) == "0:1+3 1:4 2:3 2:1+3 3:4 4:3"
    assert [bar.repeat_start for bar in tune.bars] == [1, 0, 0, 1, 0, 0]


@pytest.mark.parametrize(
    ("text", "bars"),
    [
        pytest.param(
            "Time: 3/4\nG | C5 - B | C5 -",
            "0:1+2 1:3 2:2",
            id="a pickup lacks its front",
        ),
        pytest.param(
            "|: G A B | C5 G E C | C :| |: G A B | C5 B A G | C5 :|",
            "0:3+1 1:4 2:1 2:3+1 3:4 4:1",
            id="a long pickup returns after a repeat sign",
        ),
        pytest.param(
            "Time: 2/4\n|: G | C D | [1 C :| [2 C || G | C D | C |",
            "0:1+1 1:2 2:1 3:1 3:1+1 4:2 5:1",
            id="endings give the beat of the pickup back",
        ),
    ],
)
def test_bars_are_numbered_as_on_paper(text: str, bars: str) -> None:
    assert layout(one(f"Key: C\n{text}")) == bars


def test_a_full_bar_at_the_end_of_a_line_needs_no_bar_line() -> None:
    assert (
        one("Key: C\nC D E F\nG A B C5").bars
        == one("Key: C\nC D E F | G A B C5 |").bars
    )


def test_an_ending_may_be_played_twice() -> None:
    tune = one("Key: C\nTime: 2/4\n|: C D | [1,2 E F :| [3 G C ||")
    assert [bar.repeat_end for bar in tune.bars] == [1, 3, 1]
    assert [bar.ending for bar in tune.bars] == [(), (1, 2), (3,)]


BREATHES = "G A B C5 | D5 - B - | C5 - A - | G - - - | " * 2


@pytest.mark.parametrize("typed", [BREATHES, BREATHES.replace("| ", "")])
def test_a_song_in_one_line_gets_its_lines(typed: str) -> None:
    assert [str(end) for end in one(f"Key: G\n{typed}").phrases] == ["16", "32"]


def test_time_key_and_tempo_change_between_lines() -> None:
    tune = one(
        "Key: G\nTime: 3/4\nTempo: Slowly 60\nG A B |\n"
        "Time: 6/8\nKey: D\nTempo: 80\nD E F# F# E D |"
    )
    assert [bar.time for bar in tune.bars] == [TimeSignature(3, 4), TimeSignature(6, 8)]
    assert tune.keys == (
        KeyChange(Fraction(0), parse_key("G")),
        KeyChange(Fraction(3), parse_key("D")),
    )
    assert tune.tempos == (
        Tempo(Fraction(0), Fraction(60), Fraction(1), "Slowly"),
        Tempo(Fraction(3), Fraction(80), Fraction(3, 2)),
    )


@pytest.mark.parametrize("notes", ["D E F# A | D - - - |", "1 2 3 5 | 1 - - - |"])
def test_what_stands_over_bar_lines_alone_gives_way(notes: str) -> None:
    tune = one(f"Key: C\nTempo: 60\n|\nKey: D\nTempo: 80\n{notes}\n")
    assert tune.keys == (KeyChange(Fraction(0), parse_key("D")),)
    assert [str(tempo.per_minute) for tempo in tune.tempos] == ["80"]


@pytest.mark.parametrize("time", ["4/4", "6/8", "2/2", "3/8", "5/4"])
@pytest.mark.parametrize(
    ("typed", "crotchets"),
    [
        ("1/8 = 120", 60),
        ("1/4=100", 100),
        ("3/8 = 60", 90),
        ("Slowly, dotted crotchet = 40", 60),
        ("♩. = 40", 60),
        ("Lively (minim = 80)", 160),
    ],
)
def test_a_tempo_counts_the_note_that_is_told_in_every_metre(
    time: str, typed: str, crotchets: int
) -> None:
    bar = "C" + " -" * (int(time[0]) - 1)
    (mark,) = one(f"Key: C\nTime: {time}\nTempo: {typed}\n{bar}").tempos
    assert mark.pace == crotchets
    assert mark.words in ("", "Slowly", "Lively")


@pytest.mark.parametrize(
    ("typed", "words", "number"),
    [
        ("slow", "slow", None),
        ("Andante – sostenuto", "Andante – sostenuto", None),
        ("Tempo di valse", "Tempo di valse", None),
        ("M.M. = 80", "M.M.", 80),
        ("Slowly = 60", "Slowly", 60),
        ("120 bpm", "", 120),
    ],
)
def test_words_of_a_tempo_are_kept_as_typed(
    typed: str, words: str, number: int | None
) -> None:
    (mark,) = one(f"Key: C\nTempo: {typed}\nC - - -").tempos
    assert (mark.words, mark.per_minute) == (words, number)


SECTIONS = """\
Key: C
Section: Verse
C D E F | G A B
Section: Chorus – all
E | F - - D | C D E -
[Verse 2]
C D E F | C - - - |
Refrain:
E - C - |
"""


def test_sections_are_named_at_the_first_bar_that_begins_in_their_line() -> None:
    tune = one(SECTIONS)
    assert [(bar.number, bar.section) for bar in tune.bars if bar.section] == [
        (1, "Verse"),
        (3, "Chorus – all"),
        (5, "Verse 2"),
        (7, "Refrain"),
    ]
    assert [str(end) for end in tune.phrases] == ["7", "16", "24", "28"]


def test_headers_may_be_in_any_case_and_order() -> None:
    tune = one("TEMPO: 72\ntime: 6/8\nkey: Bb\ntitle: A 100\\% tune % own\n1 - - 3 - -")
    assert tune.title == "A 100% tune"
    assert tune.tempos[0].beat == Fraction(3, 2)


@pytest.mark.parametrize(
    ("typed", "beats"),
    [("C", "4/4"), ("c|", "2/2"), ("common time", "4/4"), ("alla breve", "2/2")],
)
def test_times_with_a_name_are_read(typed: str, beats: str) -> None:
    notes = "C D E F" if beats == "4/4" else "C.D E.F"
    tune = one(f"Key: C\nTime: {typed}\n{notes} |")
    assert str(tune.bars[0].time) == beats


def test_a_line_that_is_no_music_is_title_or_words() -> None:
    tune = one("A song of mine\nKey: C\nC D E F |\nAll the wide world\nG - C - |")
    assert tune.title == "A song of mine"
    assert sung(tune) == "All the wide world . ."


@pytest.mark.parametrize(
    ("typed", "groups"),
    [
        ("5/4", ()),
        ("5/4 (2+3)", (2, 3)),
        ("3+2/4", (3, 2)),
        ("5 / 4 ( 3 + 2 )", (3, 2)),
        ("5/4 (3\x1f+2)", (3, 2)),  # A blank to a pattern, and none to `int`.
    ],
)
def test_five_beats_may_be_grouped(typed: str, groups: tuple[int, ...]) -> None:
    tune = one(f"Key: C\nTime: {typed}\nC D E F G")
    assert tune.bars[0].time == TimeSignature(5, 4, groups)


def test_headers_need_no_colon_where_nothing_else_is_meant() -> None:
    text = "Title = Mill\nKey G minor\nTime 3/4\nTempo 80\nG A Bb |\nTime goes by"
    tune = one(text)
    assert (tune.title, str(tune.key), str(tune.bars[0].time)) == (
        *("Mill", "G minor", "3/4"),
    )
    assert tune.tempos[0].per_minute == 80
    assert sung(tune) == "Time goes by"


def test_a_second_title_begins_a_second_tune() -> None:
    first, second = parse_tune_text(
        "Title: One\nComposer: A. Miller\nOrigin: own tune, 2026\nKey: C\nC D E F\n"
        "Title: Two\nKey: G\nTime: 3/4\nG A B"
    )
    assert (first.title, first.origin, second.title) == ("One", "own tune, 2026", "Two")
    assert (first.composer, second.composer) == ("A. Miller", "")
    assert second.bars[0].time == TimeSignature(3, 4)
    assert second.notes[0].line == 9


def test_what_keyboards_and_word_processors_leave_behind_is_read_silently() -> None:
    # E25: byte-order mark, Windows line ends, tabs, non-breaking spaces, music signs,
    # curly quotes, dashes in place of hyphens.
    odd = "\ufeffKey:\u00a0B♭\r\nTime: 3/4\r\n1’\t♯4\u00a05 |\r\n6 – — |\r\n"
    assert spell(one(odd)) == spell(one("Key: Bb\nTime: 3/4\n1' #4 5 |\n6 - - |\n"))


@pytest.mark.parametrize(
    ("typed", "wanted"),
    [
        pytest.param("|C D E F|G A B C5|", "| C D E F | G A B C5 |", id="no blanks"),
        pytest.param("|:C D|E F:|G A||", "|: C D | E F :| G A ||", id="other signs"),
        pytest.param(
            "|:C D|[1E F:|[2G A||", "|: C D | [1 E F :| [2 G A ||", id="endings"
        ),
        pytest.param(
            "|:C D :|: E F:|", "|: C D :| |: E F :|", id="both repeat signs in one"
        ),
        pytest.param(
            "|:C D::E F:||", "|: C D :| |: E F :| ||", id="both without a stroke"
        ),
        pytest.param("|:1 2|[13 4:|[25 8||", "|: 1 2 | [1 3 4 :| [2 5 1' ||", id="1"),
    ],
)
def test_bar_lines_need_no_blanks(typed: str, wanted: str) -> None:
    head = f"Key: C\nTime: {4 if typed.startswith('|C') else 2}/4\n"
    assert one(f"{head}{typed}") == one(f"{head}{wanted}")


# Words.


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        # The examples of ABC 2.1, section 5.1 (December 2011).
        pytest.param("syll-a-ble *", "syll- a- ble .", id="three notes"),
        pytest.param("syll-a--ble", "syll- a- . ble", id="four notes"),
        pytest.param("syll-a -ble", "syll- a- . ble", id="the same with a blank"),
        pytest.param("time__ *", "time_ . . .", id="held over three"),
        pytest.param("of~the~day * * *", "of the day . . .", id="one syllable"),
        pytest.param("a\\-b c d e", "a-b c d e", id="a hyphen as a letter"),
        pytest.param("one * two three", "one . two three", id="a note without words"),
        pytest.param("glo-_ri-a", "glo- . ri- a", id="hyphen first, then underscore"),
        pytest.param("won’t you, go home?", "won’t you, go home?", id="punctuation"),
    ],
)
def test_words_are_aligned_as_in_abc(words: str, wanted: str) -> None:
    tune = one(f"Key: C\nC D E F\nWords: {words}")
    assert sung(tune) == wanted
    assert tune.remarks == ()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        pytest.param(
            "Time: 3/4\nC D E | - F G | A - -\nWords: one | two three | four",
            "one . . two three four",
            id="a bar line in the words goes on to the next bar",
        ),
        pytest.param(
            "| C D E F |\nWords: | one two three four |",
            "one two three four",
            id="one in front of both lines skips nothing",
        ),
        pytest.param("C - 0 D\nWords: one two", "one two", id="rests and holds"),
        pytest.param(
            "C - D - |\nWords: a to-\nE - F - |\nWords: _ day",
            "a to- . day",
            id="a syllable held into the next line",
        ),
    ],
)
def test_words_stand_under_what_is_struck(text: str, words: str) -> None:
    assert sung(one(f"Key: C\n{text}")) == words


def test_each_line_of_words_under_a_line_is_a_verse() -> None:
    tune = one(
        "Key: C\nC D E F |\nWords: a b c d\nWords: e f g h\nG - C - |\nWords: i j\n"
        "D - C - |"
    )
    assert tune.verses == 2
    assert sung(tune, 0) == "a b c d i j . ."
    assert sung(tune, 1) == "e f g h . . . ."
    assert {len(note.syllables) for note in tune.sounding} == {2}


TWO_LINES = "Key: C\nC D E F |\nG A B C5 |\n"


@pytest.mark.parametrize(
    ("words", "verses"),
    [
        pytest.param(["a b c d e f g h"], ["a b c d e f g h"], id="one verse"),
        pytest.param(
            ["a b c d e f g h", "h g f e d c b a"],
            ["a b c d e f g h", "h g f e d c b a"],
            id="two verses",
        ),
        pytest.param(["a b c d", "e f g h"], ["a b c d e f g h"], id="a line each"),
        pytest.param(["a | b c d"], ["a . . . b c d ."], id="by bars"),
        pytest.param(["a b c d"], [". . . . a b c d"], id="the last line alone"),
        pytest.param(
            ["a b c d", "e f g h", "i j k l"],
            [". . . . a b c d", ". . . . e f g h", ". . . . i j k l"],
            id="three verses of the last line",
        ),
        pytest.param(["a _ _ b - c d-e"], ["a_ . . b- . c d- e"], id="held over"),
    ],
)
def test_words_fill_the_lines_above_them(words: list[str], verses: list[str]) -> None:
    tune = one(TWO_LINES + "".join(f"Words: {line}\n" for line in words))
    assert tune.verses == len(verses)
    assert [sung(tune, verse) for verse in range(tune.verses)] == verses


def test_an_empty_line_of_words_leaves_a_line_without_any() -> None:
    text = "Key: C\nC D E F |\nWords:\nG A B C5 |\nWords: a b c d\nWords: e f g h"
    assert sung(one(text), 0) == ". . . . a b c d"
    assert sung(one(text), 1) == ". . . . e f g h"


# Chords.


def locks(tune: Tune) -> str:
    """Locked chords with their stretches in crotchets."""
    return ", ".join(f"{c.chord.symbol} {c.onset}–{c.end}" for c in tune.locks)


@pytest.mark.parametrize(
    ("time", "chords", "wanted"),
    [
        pytest.param("4/4", "C", "C 0–4", id="one for the bar"),
        pytest.param("4/4", "C G7", "C 0–2, G7 2–4", id="two for half each"),
        pytest.param("4/4", "C - F G", "C 0–2, F 2–3, G 3–4", id="one for each beat"),
        pytest.param("4/4", "? G", "G 2–4", id="a free half"),
        pytest.param("4/4", "?", "", id="a free bar"),
        pytest.param("6/8", "C F", "C 0–3/2, F 3/2–3", id="halves of 6/8"),
        pytest.param("9/8", "C F G", "C 0–3/2, F 3/2–3, G 3–9/2", id="beats of 9/8"),
        pytest.param("3/4", "C - G", "C 0–2, G 2–3", id="beats of 3/4"),
        pytest.param("5/4 (2+3)", "C G", "C 0–2, G 2–5", id="groups of 5/4"),
        pytest.param("4/4", "V/V", "D 0–4", id="a secondary dominant"),
        pytest.param("4/4", "bVII", "Bb 0–4", id="a borrowed chord"),
        pytest.param("4/4", "C/E F♯m", "C/E 0–2, F#m 2–4", id="bass note, music sign"),
    ],
)
def test_chords_of_a_bar_share_it_out(time: str, chords: str, wanted: str) -> None:
    beats = " -" * (int(time[0]) - 1)
    tune = one(f"Key: C\nTime: {time}\nG{beats} |\nChords: {chords}")
    assert locks(tune) == wanted


PICKUP = "Key: F\nC | F F F A | G F G A | D5 - -\nChords: {}\nD5 | F - - |"


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        pytest.param(
            "Key: A minor\nA - E -\nChords: i V7\nKey: G\nG - D -\nChords: I V7",
            "Am 0–2, E7 2–4, G 4–6, D7 6–8",
            id="numerals in the key in force",
        ),
        pytest.param(
            "G A B G | D E F# G |\nChords: I | V",
            "G 0–4, D 4–8",
            id="numerals in a guessed key",
        ),
        pytest.param(
            "Key: C\nC D E F | G A G F | C - - - |\nChords: C | - G | -",
            "C 0–6, G 6–12",
            id="held over the bar line",
        ),
        pytest.param(
            "Key: C\nC D E F | G A G F | C - - - |\nChords: C | | -",
            "C 0–4",
            id="a bar left empty is free and may be held",
        ),
        *(
            pytest.param(
                PICKUP.format(chords), "F 1–5, Bb 9–13", id=f"after it {chords}"
            )
            for chords in ("| F | ? | Bb", "F | ? | Bb", "? | F | ? | Bb |")
        ),
        pytest.param(
            "Key: F\nF F F A | D5 - -\nChords: F | Bb\nC5 | F - - - |\nChords: C7 | F",
            "F 0–4, Bb 4–7, C7 7–8, F 8–12",
            id="a chord in the next line ends the one before",
        ),
        pytest.param(
            "Key: F\nC | F F F A | D5 - -\nC5 | F - - - |\nChords: F | Bb | F",
            "F 1–5, Bb 5–9, F 9–13",
            id="under several lines",
        ),
        pytest.param(
            "Key: C\nTime: 2/4\n|: C E | [1 G D :| [2 G C ||\n"
            "Chords: |: C | [1 G :| [2 C ||",
            "C 0–2, G 2–4, C 4–6",
            id="with the bar lines of the tune",
        ),
    ],
)
def test_chords_last_to_the_next(text: str, wanted: str) -> None:
    assert locks(one(text)) == wanted


def test_a_guessed_key_is_marked_as_guessed() -> None:
    assert one("G A B G | D E F# G |").key_guessed
    assert not one("Key: G\nG A B G").key_guessed
    assert one("G A B G | D E F# G |").key == parse_key("G")


def test_a_repeat_that_was_assumed_is_written_into_the_bars() -> None:
    bars = one("Key: C\nC D E F :| G A B C5 :|").bars
    assert [bar.repeat_start for bar in bars] == [False, True]

"""Whole ABC tunes and books: the samples of the standard, and how fast they are read.

Source of the samples: ABC 2.1 (December 2011), sections 2, 3.3, 13.
"""

import subprocess
import sys
from fractions import Fraction

from makers.abc_tunes import heard, numbers, read, said, shown

from harmonise.notation.abc.abc_tune import parse_abc, split_abc

# Section 13: the sample tunes.


def test_dusty_miller_is_read_as_printed() -> None:
    """Section 13.1, X:1: the first two bars."""
    text = """%abc-2.1
H:This file contains some example English tunes
% note that the comments (like this one) are to highlight usages
O:England             % the origin of all tunes is England

X:1                   % tune no 1
T:Dusty Miller, The   % title
T:Binny's Jig         % an alternative title
C:Trad.               % traditional
R:DH                  % double hornpipe
M:3/4                 % meter
K:G                   % key
B>cd BAG|FA Ac BA|B>cd BAG|DG GB AG:|
Bdd gfg|aA Ac BA|Bdd gfa|gG GB AG:|
BG G/2G/2G BG|FA Ac BA|BG G/2G/2G BG|DG GB AG:|
W:Hey, the dusty miller, and his dusty coat;
W:He will win a shilling, or he spend a groat.
"""
    tune = parse_abc(text)[0]
    assert tune.title == "Dusty Miller, The"
    assert (tune.composer, tune.origin) == ("Trad.", "England")
    assert numbers(tune) == " ".join(f"{number}:3" for number in range(1, 13))
    assert [bar.number for bar in tune.bars if bar.repeat_end == 2] == [4, 8, 12]
    assert shown(tune.notes[:12]) == (
        "B4 3/4, C5 1/4, D5 1/2, B4 1/2, A4 1/2, G4 1/2, "
        "F#4 1/2, A4 1/2, A4 1/2, C5 1/2, B4 1/2, A4 1/2"
    )
    assert said(tune) == [
        "Words under the tune (W:) belong to no note; they were left out."
    ]


def test_old_sir_simon_changes_metre_inside_its_ending() -> None:
    """Section 13.1, X:2: pickup, repeats with pickup, endings, 9/8 and 12/8."""
    text = r"""X:2
T:Old Sir Simon the King
M:9/8
K:G
D|GFG GAG G2D|GFG GAG F2D|EFE EFE EFG|A2G F2E D2:|
D|GAG GAB d2D|GAG GAB c2D|[1 EFE EFE EFG|A2G F2E D2:|\ % no line-break in score
M:12/8                % change of meter
[2 E2E EFE E2E EFG|\  % no line-break in score
M:9/8                 % change of meter
A2G F2E D2|]
"""
    tune = parse_abc(text)[0]
    assert numbers(tune) == (
        "0:1/2+4 1:9/2 2:9/2 3:9/2 4:4 4:1/2+4 5:9/2 6:9/2 7:9/2 8:4 9:6 10:4"
    )
    assert [bar.ending for bar in tune.bars[-5:]] == [(), (1,), (1,), (2,), (2,)]
    assert [str(bar.time) for bar in tune.bars[-3:]] == ["9/8", "12/8", "9/8"]
    assert said(tune) == []


def test_william_and_nancy_has_parts_chords_and_three_metres() -> None:
    """Section 13.1, X:3."""
    text = r"""X:3
T:William and Nancy
C:Trad.
O:England; Gloucs; Bledington % place of origin
B:Sussex Tune Book            % can be found in these books
P:(AB)2(AC)2A                 % play the parts in this order
M:6/8
K:G
[P:A] D|"G"G2G GBd|"C"e2e "G"dBG|"D7"A2d "G"BAG|"C"E2"D7"F "G"G2:|
[P:B] d|"G"e2d B2d|"C"gfe "G"d2d| "G"e2d    B2d|"C"gfe    "D7"d2c|
        "G"B2B Bcd|"C"e2e "G"dBG|"D7"A2d "G"BAG|"C"E2"D7"F "G"G2:|
% changes of meter, using inline fields
[T:Slows][M:4/4][L:1/4][P:C]"G"d2|"C"e2 "G"d2|B2 d2|"Em"gf "A7"e2|"D7"d2 "G"d2|\
       "C"e2 "G"d2|[M:3/8][L:1/8] "G"B2 d |[M:6/8] "C"gfe "D7"d2c|
        "G"B2B Bcd|"C"e2e "G"dBG|"D7"A2d "G"BAG|"C"E2"D7"F "G"G2:|
"""
    tune = parse_abc(text)[0]
    assert tune.composer == "Trad."
    assert tune.origin == "England; Gloucs; Bledington; Sussex Tune Book"
    sections = [(bar.number, bar.section) for bar in tune.bars if bar.section]
    assert sections == [(0, "A"), (4, "B"), (13, "Slows, C")]
    chords = [(str(at.onset), at.chord.symbol) for at in tune.symbols[:5]]
    assert chords == [
        ("1/2", "G"),
        ("7/2", "C"),
        ("5", "G"),
        ("13/2", "D7"),
        ("8", "G"),
    ]
    assert tune.symbols[-1].end == tune.end
    times = list(dict.fromkeys(str(bar.time) for bar in tune.bars))
    assert times == ["6/8", "4/4", "3/8"]
    assert said(tune) == [
        (
            'The parts are played in the order "(AB)2(AC)2A"; they were read once, as '
            "written."
        )
    ]


def test_athol_brose_has_all_its_grace_notes() -> None:
    """Section 13.2, X:2: pipe gracing, broken rhythm across it, lines by $."""
    text = """%abc-2.1
M:4/4
O:Scottish
R:Strathspey

X:2
T:Atholl Brose
I:linebreak $
K:D
{gcd}c<{e}A {gAGAG}A2 {gef}e>A {gAGAG}Ad|
{gcd}c<{e}A {gAGAG}A>e {ag}a>f {gef}e>d|
{gcd}c<{e}A {gAGAG}A2 {gef}e>A {gAGAG}Ad|
{g}c/d/e {g}G>{d}B {gf}gG {dc}d>B:|$
"""
    tune = parse_abc(text)[0]
    assert shown(tune.notes[:7]) == (
        "C#5 1/4, A4 3/4, A4 1, E5 3/4, A4 1/4, A4 1/2, D5 1/2"
    )
    graces = ["".join(str(g.pitch) for g in note.graces) for note in tune.notes[:3]]
    assert graces == ["G5C#5D5", "E5", "G5A4G4A4G4"]
    assert tune.origin == "Scottish"
    assert tune.phrases == (Fraction(16),)
    assert said(tune) == []


def test_the_untitled_reel_changes_key() -> None:
    """Section 13.3, X:1."""
    text = r"""X:1
T:Untitled Reel
C:Trad.
M:4/4
K:D
eg|a2ab ageg|agbg agef|g2g2 fgag|f2d2 d2:|\
ed|cecA B2ed|cAcA E2ed|cecA B2ed|c2A2 A2:|
K:G
AB|cdec BcdB|ABAF GFE2|cdec BcdB|c2A2 A2:|
"""
    tune = parse_abc(text)[0]
    assert [(str(c.onset), str(c.key)) for c in tune.keys] == [
        ("0", "D major"),
        ("32", "G major"),
    ]
    assert [n.number for n in tune.bars] == [*range(5), *range(4, 9), *range(8, 13)]
    assert " ".join(str(note.pitch) for note in tune.notes[-18:-11]) == (
        "A4 B4 A4 F#4 G4 F#4 E4"
    )
    assert said(tune) == []


# Section 2.2: books.


def test_a_book_gives_its_tunes_in_order() -> None:
    text = "X:1\nT:One\nK:C\nC|\n\nfree text | with a bar line\n\nX:2\nT:Two\nK:G\nF|\n"
    first, second = parse_abc(text)
    assert (first.title, shown(first.notes)) == ("One", "C4 1/2")
    assert (second.title, shown(second.notes)) == ("Two", "F#4 1/2")


def test_the_file_header_holds_for_every_tune_of_a_book() -> None:
    """Section 2.2.2: settings in a tune override it for that tune alone."""
    text = "M:3/4\nL:1/16\n\nX:1\nK:C\nC|\n\nX:2\nL:1/4\nK:C\nC|\n\nX:3\nK:C\nC|"
    assert [shown(tune.notes) for tune in parse_abc(text)] == [
        "C4 1/4",
        "C4 1",
        "C4 1/4",
    ]


def test_line_ends_of_every_kind_and_a_byte_order_mark_are_read() -> None:
    """Sections 2.1 and 8."""
    lines = ["\ufeff%abc-2.1", "X:1", "T:T", "L:1/4", "K:C", "CD|", "E|", ""]
    tunes = [parse_abc(end.join(lines)) for end in ("\n", "\r\n", "\r")]
    assert tunes[0] == tunes[1] == tunes[2]
    assert [note.line for note in tunes[0][0].notes] == [6, 6, 7]


def test_a_field_goes_on_behind_comments_and_directives() -> None:
    """Section 3.3, with the standard's own words."""
    body = (
        "C D E F|G A B c|\nw:nor-mal\n% legal, but not recommended\n"
        "%%vocalfont Times-Italic *\n+:i-ta-lic\n%%vocalfont Times-Roman *\n+:nor-mal"
    )
    tune = read(body)
    words = [note.syllables[0] for note in tune.notes[:7]]
    assert " ".join(word.text for word in words if word) == "nor mal i ta lic nor mal"


def test_typeset_text_is_passed_over() -> None:
    """Section 11.4.5."""
    assert heard("%%text C D E\nCDEF|\n%%begintext\nG A B|\n%%endtext\nC4|") == heard(
        "CDEF|C4|"
    )


def test_a_tune_keeps_its_lines_numbers_from_the_book() -> None:
    tune = parse_abc("\n\nX:1\nK:C\nC|\nD|\n")[0]
    assert [note.line for note in tune.notes] == [5, 6]


def test_split_and_parse_let_a_caller_skip_a_bad_tune() -> None:
    sources = split_abc("X:1\nT:Bad\nK:C\nC]|\n\nX:2\nT:Good\nK:C\nC|\n")
    assert [source.title for source in sources] == ["Bad", "Good"]


# Size and weight.


def test_two_thousand_bars_are_read() -> None:
    bars = ['"G"GABc d>ed^c', '"C"e2 (3efg {a}g2 ed', '"D7"dcBA -A2 Bc', "B2G2 G2z2"]
    text = "X:1\nM:4/4\nL:1/8\nK:G\n" + "\n".join(["|".join(bars) + "|"] * 500)
    assert len(parse_abc(text)[0].bars) == 2000


def test_reading_needs_nothing_heavy() -> None:
    """Neither music21 nor numpy nor inspect, which dataclasses would bring."""
    code = (
        "import sys, harmonise.notation.abc.abc_tune as abc; "
        "abc.parse_abc('X:1\\nK:C\\nC|'); "
        "print({'music21', 'numpy', 'inspect', 'dataclasses'} & {*sys.modules})"
    )
    done = subprocess.run(  # noqa: S603 (our own interpreter, our own words)
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "set()"

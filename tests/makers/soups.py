"""Inputs that nobody wrote: the signs of each format in any order, and mere bytes.

What is typed most often stands in the tables most often, as a soup of rare signs never
gets past its first word.
"""

import struct
from collections.abc import Callable, Sequence
from random import Random


def _signs(text: str) -> list[str]:
    """Return signs that stand with blanks between them."""
    return text.split()


_LINES = (
    *("\n", "\n", "\n\n", "\nKey: G\n", "\nTime: 3/4\n", "\nWords: ", "\nChords: "),
    *("\nTitle: ", "\nSignature: ", "\nTempo: 1/8 = 90\n", "\nOctave: 3\n"),
    "\nSection: A\n",
)
_TYPED = (
    *_signs("| | | || |: :| [1 [2 : ||| 3/4 6/8 ? % minor la-la _ ~ * V7 Dm Key"),
    *_signs("%% Fine D.C. F-Dur 0 . .. - -"),
    *_LINES,
)
LETTERS = (
    *_signs("C D E F G A B C5 F# Bb B3 -.D C.D 8 H d c' C2 z do |C r"),
    *_TYPED,
)
NUMBERS = (*_signs("1 2 3 4 5 6 7 8 #4 b7 5, 1' 1.2 -.3 9 12"), *_TYPED)
SOLFA = (
    *_signs("| | : : : ! || d r m d r s, d' t₁ d² - - . , ‘ ’ ., fe ba ra H D do"),
    *(
        "Fine",
        "D.C.",
        "D.S.",
        "\nDoh: G\n",
        "\nLah: A\n",
        "Doh",
        "0",
        "#",
        "%",
        *_LINES,
    ),
)
ABC = (
    *"CDEFGABcdefgabzxyZX|:[]()<>-^=_'/\\ \n~.HTuv+&!$*#\"{}`,%",
    *_signs("|| |] [| |: :| :: |1 :|2 [1 [2,3 .| 2 3/2 (3 (5:4:3 >> ^^ __ [CEG] Z2"),
    *_signs("[K:G] [M:3/4] [L:1/16] [P:A] !trill! !D.S.alcoda! {gf} {/a>b}"),
    *('"Am"', '"D.C."', '"^x"', "\nV:2", "\nw:la la-la _ * | \n", "\nK:Am ^f\n"),
    *("\nM:C|\n", "\nX:2\n", "\nL:1/8\n", "\nQ:1/8=9", "\nU:k=!accent!\n", "\n+:x"),
    *("\n%%MIDI program 1\n", "\nI:linebreak <EOL>\n", "\nP:AB"),
)
_NOTE = (
    "<note><pitch><step>C</step><octave>4</octave></pitch><duration>1</duration></note>"
)
XML = (
    *("<chord/>", "<grace/>", "<rest/>", "<dot/>", "<cue/>", "<staff>2</staff>", _NOTE),
    *("<voice>2</voice>", "<duration>3</duration>", "<alter>-1</alter>", "G", "whole"),
    *(
        "<octave>9</octave>",
        '<tie type="start"/>',
        '<tie type="stop"/>',
        "<type>x</type>",
    ),
    *("<type>half</type>", "<backup><duration>4</duration></backup>", "<unpitched/>"),
    *("<forward><duration>1</duration></forward>", "<divisions>3</divisions>", "<a>"),
    *(
        "<divisions>0</divisions>",
        "<staves>2</staves>",
        "<key><fifths>9</fifths></key>",
    ),
    "<time><beats>3+2</beats><beat-type>8</beat-type></time>",
    *("<transpose><chromatic>-2</chromatic></transpose>", "<senza-misura/>", "&x;"),
    *('<barline><repeat direction="backward"/></barline>', "</measure>", "</part>"),
    *('<ending number="1, 2" type="start"/>', '<sound dacapo="yes"/>', "</note>"),
    *(
        '<measure number="X1">',
        "<lyric><text>la</text></lyric>",
        "<!DOCTYPE x>",
        "&amp;",
    ),
    "<harmony><root><root-step>H</root-step></root><kind>major</kind></harmony>",
    "<time-modification><actual-notes>0</actual-notes></time-modification>",
    *("<![CDATA[", "<!-- -- -->"),
)
TOML = (
    *_signs("[ ] [[ = \" ' . { # C4-D5 Cb9-B# nan inf -1 true 0x1F 1979-05-27"),
    *("deduct = 0.5\n", "[M06]\n", "[x]\n", "comfortable = 1\n", 'when = "never"\n'),
    *("limits = ", "\\u0000", '"""', "[" * 300, "beside = 2\n", "\n"),
)
WORK = (
    *("1: C | C4 E4 G4 | C3\n", "1.3: F | C4 F4 A4 | F2\n", "2 1/2: ", " | ", "(I)"),
    *_signs("| - V7 root first C4 E H4 99.9: # 1/0 . ,"),
    *("Bar 1.\n", "Right hand", "Name: Ann\n", "Beat 1", "C sharp 4", "for a crotchet"),
    *("left hand: ", "\n"),
)
ASKED = (
    *_signs('{ } [ ] " , : null true "text" /tap /read /arrange /x -1 1.5 \\n'),
    *('"tapped": true, ', '"base64": "AAAA"', "\\u0000", "\\ud800", '"length": "1/3"'),
    *('"put": 200', '"taken": "1/2"', "\n", "[" * 300, '{"source": '),
)
_MOST = 24


def soup(
    signs: Sequence[str], start: str, between: str = ""
) -> Callable[[Random], bytes]:
    """Return what makes a text of signs in any order after a usual start."""

    def make(dice: Random) -> bytes:
        chosen = [dice.choice(signs) for _ in range(dice.randint(0, _MOST))]
        return (start + between.join(chosen)).encode("utf-8", "surrogatepass")

    return make


_HEAD = (
    '<score-partwise><part-list><score-part id="P"/></part-list><part id="P"><measure>'
)


def xml_made(dice: Random) -> bytes:
    """Return a bar of elements in any order."""
    chosen = [dice.choice((_NOTE, _NOTE, *XML)) for _ in range(dice.randint(0, 12))]
    return f"{_HEAD}{''.join(chosen)}</measure></part></score-partwise>".encode()


def midi_made(dice: Random) -> bytes:
    """Return a MIDI file in which keys are struck and let go of in any order."""
    body = b"".join(
        bytes([dice.choice((0, 12, 24, 48)), dice.choice((0x80, 0x90)), key, 64])
        for key in (dice.randint(55, 76) for _ in range(dice.randint(0, 16)))
    )
    length = struct.pack(">I", len(body))
    return b"MThd\0\0\0\6\0\1\0\1\0\x30MTrk" + length + body


_STARTS = (b"", b"MThd", b"PK\x03\x04", b"<?xml", b"\xff\xfe", b"%PDF", b"Key: C\n")


def bytes_made(dice: Random) -> bytes:
    """Return bytes in any order, mostly after the first ones of a format."""
    rest = bytes(dice.randint(0, 255) for _ in range(dice.randint(0, 60)))
    return dice.choice(_STARTS) + rest

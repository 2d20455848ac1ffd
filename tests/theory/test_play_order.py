from fractions import Fraction
from typing import NamedTuple

import music21  # noqa: TID251 (the oracle of the tests)
import pytest
from makers.profiles import spread
from music21 import bar as lines  # noqa: TID251
from music21 import repeat  # noqa: TID251
from oracles.play_order import opened, sounds

from harmonise import arrange, read_tune
from harmonise.notation.musicxml.writer import format_musicxml
from harmonise.theory.key import Key, Mode
from harmonise.theory.metre import TimeSignature
from harmonise.theory.pitch import parse_name, parse_pitch
from harmonise.theory.play_order import (
    Passage,
    once_through,
    passages,
    played,
    played_bars,
    played_onsets,
)
from harmonise.theory.tune import Bar, KeyChange, Tune, TuneNote

CORPUS = music21.corpus.getPaths(fileExtensions=["abc"])
FOUR = TimeSignature(4, 4)


class Case(NamedTuple):
    """A page in short, and its bars in playing order.

    A page is its bars, parted by spaces: "|:" and ":|" open and close a repeat, ":|3"
    one that is played three times, "[1" and "[1,2" put the next bars under a bracket
    and "]" ends it; words in braces stand at the bar's end, "{Segno}" and "{Coda}" at
    its start.
    """

    page: str
    order: str


def page_of(text: str) -> Tune:
    """Return a tune of whole notes."""
    bars: list[Bar] = []
    words: list[tuple[Fraction, str]] = []
    opens = False
    ending: tuple[int, ...] = ()
    for sign in text.split():
        if sign == "|:":
            opens = True
        elif sign[0] == "[":
            ending = tuple(map(int, sign[1:].split(",")))
        elif sign == "]":
            ending = ()
        elif sign[:2] == ":|":
            bars[-1] = bars[-1]._replace(repeat_end=int(sign[2:] or 2))
            ending = ()
        elif sign[0] == "{":
            said = sign[1:-1].replace("_", " ")
            start = said in ("Segno", "Coda")
            words.append((bars[-1].start if start else bars[-1].end, said))
        else:
            at = Fraction(4 * len(bars))
            bars.append(Bar(len(bars) + 1, at, Fraction(4), FOUR, opens, 1, ending))
            opens = False
    return Tune(
        "", tuple(TuneNote(bar.start, bar.length, parse_pitch("C4")) for bar in bars),
        tuple(bars), (KeyChange(Fraction(0), Key(parse_name("C"), Mode.MAJOR)),),
        end_text=tuple(sorted(words)),
    )  # fmt: skip


def letters(text: str) -> str:
    """Return the letters of the bars of a page in playing order."""
    names = [sign for sign in text.split() if sign.isalpha()]
    return "".join(names[index] for index in played_bars(page_of(text)))


_EXPRESSIONS = {
    "Fine": repeat.Fine, "Segno": repeat.Segno, "Coda": repeat.Coda,
    "D.C.": repeat.DaCapo, "D.C. al Fine": repeat.DaCapoAlFine,
    "D.C. al Coda": repeat.DaCapoAlCoda, "D.S.": repeat.DalSegno,
    "D.S. al Fine": repeat.DalSegnoAlFine, "D.S. al Coda": repeat.DalSegnoAlCoda,
}  # fmt: skip


def music21_part(text: str) -> music21.stream.Part:
    """Return the same page as music21 writes it, each bar with a note of its own."""
    tune = page_of(text)
    part = music21.stream.Part()
    brackets: dict[tuple[int, tuple[int, ...]], list[music21.stream.Measure]] = {}
    opened = 0
    for index, bar in enumerate(tune.bars):
        measure = music21.stream.Measure(number=index + 1)
        measure.append(music21.note.Note(36 + index, quarterLength=4))
        if bar.repeat_start:
            measure.leftBarline = lines.Repeat(direction="start")
        if bar.repeat_end > 1:
            end = lines.Repeat(direction="end", times=bar.repeat_end)
            measure.rightBarline = end
        for onset, said in tune.end_text:
            here = bar.start if said in ("Segno", "Coda") else bar.end
            if onset == here and said in _EXPRESSIONS:
                signs = said in ("Segno", "Coda")
                measure.insert(0 if signs else 4, _EXPRESSIONS[said]())
        part.append(measure)
        opened += not bar.ending
        if bar.ending:
            brackets.setdefault((opened, bar.ending), []).append(measure)
    for (_, numbers), measures in brackets.items():
        number = ",".join(map(str, numbers))
        part.insert(0, music21.spanner.RepeatBracket(measures, number=number))
    return part


def music21_order(text: str) -> str:
    """Return the letters of the bars as music21 plays them."""
    names = [sign for sign in text.split() if sign.isalpha()]
    expanded = repeat.Expander(music21_part(text)).process()
    return "".join(names[note.pitch.midi - 36] for note in expanded.recurse().notes)


REPEATS = [
    Case("A B C", "ABC"),
    Case("|: A B :|", "ABAB"),
    Case("A B :| C", "ABABC"),
    Case("A |: B C :| D", "ABCBCD"),
    Case("|: A :| |: B :|", "AABB"),
    Case("|: A B :|3 C", "ABABABC"),
    Case("A |: B [1 C :| [2 D ] E", "ABCBDE"),
    Case("A B [1 C :| [2 D ]", "ABCABD"),
    Case("|: A B [1 C D :| [2 E F ] G", "ABCDABEFG"),
    Case("|: A [1,2 B :|3 [3 C ] D", "ABABACD"),
    Case("|: A [1 B :| [2 C ] |: D [1 E :| [2 F ]", "ABACDEDF"),
    Case("|: A [1 B :| [2 C :| [3 D ] E", "ABACADE"),
]
JUMPS = [
    Case("A B {Fine} C D {D.C._al_Fine}", "ABCDAB"),
    Case("A B C {D.C.}", "ABCABC"),
    Case("A B {Segno} C D {Fine} E {D.S._al_Fine}", "ABCDEBCD"),
    Case("A B {Segno} C {D.S.}", "ABCBC"),
    Case("A B {Coda} C D {D.C._al_Coda} E {Coda} F", "ABCDABEF"),
    Case("A B {Segno} C {Coda} D E {D.S._al_Coda} F {Coda} G", "ABCDEBCFG"),
    Case("|: A B {Fine} :| |: C D :| {D.C._al_Fine}", "ABABCDCDAB"),
    Case("A {Coda} B {D.C._al_Coda} C {Coda} |: D :| E", "ABACDDE"),
]


@pytest.mark.parametrize("case", [*REPEATS, *JUMPS], ids=lambda case: case.page)
def test_a_page_is_played_in_the_order_that_music21_plays_it(case: Case) -> None:
    assert letters(case.page) == case.order
    assert music21_order(case.page) == case.order


@pytest.mark.parametrize("case", [*REPEATS, *JUMPS], ids=lambda case: case.page)
def test_a_page_that_music21_wrote_is_read_and_played_in_order(case: Case) -> None:
    names = [sign for sign in case.page.split() if sign.isalpha()]
    exporter = music21.musicxml.m21ToXml.GeneralObjectExporter(music21_part(case.page))
    tune = read_tune(exporter.parse().decode())
    assert "".join(names[index] for index in played_bars(tune)) == case.order


def test_jump_words_of_abc_are_followed() -> None:
    head = "X:1\nT:t\nM:4/4\nL:1/1\nK:C\n"
    for body, order in (
        ('C|"^Fine"D|E|"^D.C. al Fine"F|', [0, 1, 2, 3, 0, 1]),
        ("C|!fine!D|E|!D.C.!F|", [0, 1, 2, 3, 0, 1]),
        ("C|!segno!D|!fine!E|!D.S.!F|", [0, 1, 2, 3, 1, 2]),
        ("C|!dacoda!D|!D.C.!E|!coda!F|", [0, 1, 2, 0, 1, 3]),
    ):
        assert list(played_bars(read_tune(head + body + "\n"))) == order, body


@pytest.mark.parametrize(
    "case",
    [
        # music21 plays both brackets after a D.C.; players take the last alone.
        Case("|: A [1 B :| [2 C ] {Fine} D {D.C._al_Fine}", "ABACDAC"),
        Case("|: A [1 B :| C {Fine} D {D.C._al_Fine}", "ABACDAC"),
        # music21 loses the brackets of a page with a D.C.
        Case("|: A :| B {Fine} |: C [1 D :| [2 E ] F {D.C._al_Fine}", "AABCDCEFAB"),
        # music21 goes back to the very beginning; ABC 2.1, section 4.8, to the last
        # end of a repeat.
        Case("A :| B :|", "AABB"),
        Case("A [1 B :| [2 C ] D E :| F", "ABACDEDEF"),
        # The words that leave are no expression of music21's.
        Case("A B {To_Coda} C {D.C._al_Coda} D {Coda} E", "ABCABDE"),
        Case("A B {Da_Coda} C {D.C.} D {Coda} E", "ABCABDE"),
        Case("A B {To_Coda} C {D.S._al_Coda} D", "ABCABD"),
        # Nothing to jump to: from the beginning; nothing to end at: to the end.
        Case("A B {D.S.} C", "ABABC"),
        Case("A B C {D.C._al_Fine}", "ABCABC"),
        Case("A {Fine} B", "AB"),
        # Two jumps are taken once each.
        Case("A B {D.C.} C {D.C.}", "ABABCABC"),
        # Brackets without repeat signs, and with one too many.
        Case("|: A [1 B [2 C ] D", "ABACD"),
        Case("|: A [1 B :| [2 C :| D", "ABACD"),
        Case("A [1 B ] C", "ABC"),
        # A repeat inside another that never closes: the inner one counts.
        Case("|: A |: B :| C", "ABBC"),
        Case("|: A |: B :| C :| D", "ABBCCD"),
    ],
    ids=lambda case: case.page,
)
def test_pages_that_music21_refuses_or_reads_otherwise(case: Case) -> None:
    # Common practice, from memory.
    assert letters(case.page) == case.order


def test_words_are_known_in_the_spellings_of_printed_books() -> None:
    for words in ("D.C. al Fine", "D. C. al fine", "DC al Fine.", "Da Capo al Fine"):
        text = "A B {Fine} C {" + words.replace(" ", "_") + "}"
        assert letters(text) == "ABCAB", words
    for words in ("D.S. al Fine", "D. S. al fine", "DS", "Dal Segno al Fine"):
        text = "A B {Segno} C {Fine} D {" + words.replace(" ", "_") + "}"
        assert letters(text) == "ABCDBC", words


def passage(start: int, end: int, at: int) -> Passage:
    return Passage(Fraction(start), Fraction(end), Fraction(at))


def test_neighbouring_bars_make_one_passage_and_time_goes_on() -> None:
    tune = page_of("A |: B [1 C :| [2 D ] E")
    order = played(tune)
    assert order == (passage(0, 12, 0), passage(4, 8, 12), passage(12, 20, 16))
    assert order[-1].stop == 24
    assert list(map(int, played_onsets(order, Fraction(5)))) == [5, 13]
    assert list(map(int, played_onsets(order, Fraction(12)))) == [16]
    assert not played_onsets(order, Fraction(20))


def test_practised_bars_are_played_once_with_one_ending() -> None:
    bars = page_of("|: A B [1 C :| [2 D ] E").bars
    assert [bar.number for bar in once_through(bars)] == [1, 2, 4, 5]
    assert [bar.number for bar in once_through(bars[:3])] == [1, 2, 3]
    assert passages(once_through(bars[1:])) == (
        passage(4, 8, 0),
        passage(12, 20, 4),
    )


def test_a_pickup_is_played_again_when_the_repeat_opened_nowhere() -> None:
    tune = read_tune("Key: C\nTime: 3/4\nG | C E G | C - :| E | D D D | C - ||")
    lengths = [str(tune.bars[index].length) for index in played_bars(tune)]
    assert lengths[:6] == ["1", "3", "2", "1", "3", "2"]


def abc_texts() -> list[str]:
    """Return tunes with repeats from the books of music21's corpus, evenly spread."""
    found: list[str] = []
    for path in sorted(CORPUS):
        text = path.read_text("utf-8", errors="replace")
        for part in text.split("\nX:")[1:]:
            tune = "X:" + part.split("\n\n")[0]
            if ":|" in tune and len(tune) < 1200:
                found.append(tune + "\n")
    return spread(found[:: max(len(found) // 25, 1)], 12)


@pytest.mark.parametrize("text", abc_texts(), ids=lambda text: text.split("\n")[0])
def test_tunes_of_old_books_are_played_as_music21_plays_our_score(text: str) -> None:
    tune = read_tune(text)
    score = music21.converter.parseData(
        format_musicxml(arrange(tune)).decode(), format="musicxml"
    )
    part = score.parts[0]
    bars = sounds(part)
    assert len(bars) == len(tune.bars)
    heard = sounds(opened(part).expandRepeats())
    assert heard == [bars[index] for index in played_bars(tune)]
    assert len(heard) > len(bars)


def test_a_second_ending_without_a_first_is_played_as_it_stands() -> None:
    tune = read_tune("X:1\nM:4/4\nL:1/4\nK:C\n[2 C D E C :|\n")
    assert played_bars(tune) == (0,)

"""Words of MusicXML files: verses, hyphens, elisions."""

from fractions import Fraction

from makers.musicxml_files import (
    lyric,
    note,
    tie,
    tune,
)
from oracles.tune_shape import told

from harmonise.notation.musicxml.reader import parse_musicxml
from harmonise.theory.tune import Syllable

HALF, THIRD = Fraction(1, 2), Fraction(1, 3)


def test_words_of_all_verses_keep_hyphens_and_lines() -> None:
    held = lyric("day", "end").replace("</lyric>", "<extend/></lyric>")
    read = parse_musicxml(
        tune(
            note("C4", 1, lyric("Hol", "begin"), lyric("Sing", number="2"))
            + note("D4", 1, lyric("i", "middle"))
            + note("E4", 2, held, lyric("all", number="2"))
        )
    )
    assert read.verses == 2
    assert [n.syllables for n in read.notes] == [
        (Syllable("Hol", joins=True), Syllable("Sing")),
        (Syllable("i", joins=True), None),
        (Syllable("day", extends=True), Syllable("all")),
    ]


def test_named_verses_come_after_numbered_ones_in_the_order_of_the_page() -> None:
    read = parse_musicxml(
        tune(
            note("C4", 4, *(lyric(n, number=n) for n in ("chorus", "10", "2", "alto")))
        )
    )
    assert [s and s.text for s in read.notes[0].syllables] == [
        "2",
        "10",
        "chorus",
        "alto",
    ]


def test_elided_syllables_share_their_note() -> None:
    elided = (
        "<lyric><syllabic>end</syllabic><text>co</text><elision>{}</elision>"
        "<syllabic>begin</syllabic><text>e</text></lyric>"
    )
    read = parse_musicxml(
        tune(note("C4", 2, elided.format("_")) + note("C4", 2, elided.format("")))
    )
    assert [n.syllables for n in read.notes] == [
        (Syllable("co_e", joins=True),),
        (Syllable("co\u203fe", joins=True),),
    ]


def test_words_on_all_notes_of_a_chord_are_kept_once_each() -> None:
    chord = note("C4", 4, lyric("la"), lyric("le", number="2")) + note(
        "E4", 4, "chord", lyric("la"), lyric("li", number="3")
    )
    read = parse_musicxml(tune(chord))
    assert [s and s.text for s in read.notes[0].syllables] == ["la", "le", "li"]


def test_words_where_nothing_is_struck_are_told() -> None:
    read = parse_musicxml(
        tune(
            note("C4", 2, tie("start"), lyric("Oh"))
            + note("C4", 2, tie("stop"), lyric("no")),
            note("r", 4, lyric("(spoken)")),
        )
    )
    assert [n.syllables for n in read.sounding] == [(Syllable("Oh"),)]
    assert told(read) == [
        (
            'Bar 1, beat 3: "no" stands where no note is struck; it was left out. The '
            "same in "
            "bar 2."
        )
    ]


def test_the_end_of_a_line_under_the_words_is_no_line() -> None:
    begins, ends = (
        lyric("Oh").replace("</lyric>", f'<extend type="{kind}"/></lyric>')
        for kind in ("start", "stop")
    )
    only = '<lyric number="1"><extend type="stop"/></lyric>'
    read = parse_musicxml(
        tune(note("C4", 1, begins) + note("D4", 1, only) + note("E4", 2, ends))
    )
    assert [n.syllables for n in read.notes] == [
        (Syllable("Oh", extends=True),),
        (None,),
        (Syllable("Oh"),),
    ]

"""Keyboard diagrams: the right keys, named, fingered, linked, and clear in grey."""

import re
from collections.abc import Iterator
from xml.etree import ElementTree as ET

import pytest
from makers.forms import tune_of
from oracles.engraved_reader import SVG

from harmonise.arranging.job import arrange
from harmonise.notation.formats import read_tune
from harmonise.notation.paper.blocks import Page, Picture
from harmonise.notation.paper.keyboards import (
    Keyboard,
    Press,
    draw_keyboards,
    told_legend,
)
from harmonise.notation.paper.score_sheet import keyboard_blocks
from harmonise.notation.score.printed_labels import shape_labels
from harmonise.theory.arrangement import Labels, LeftHand, Style, Texture
from harmonise.theory.pitch import parse_pitch

WHITE_STEPS = (2, 2, 1, 2, 2, 2, 1)
"""Semitones from a white key to the next, from C on."""


def board(keys: str, fingers: str = "", label: str = "") -> Keyboard:
    names = keys.split()
    numbers = [int(one) for one in fingers] or [0] * len(names)
    pairs = zip(names, numbers, strict=True)
    return Keyboard(tuple(Press(parse_pitch(own), one) for own, one in pairs), label)


def drawn(*boards: Keyboard, width: float = 178) -> list[ET.Element]:
    """Return the diagrams of some keyboards."""
    strips = draw_keyboards(boards, width)
    found = [ET.fromstring(strip.svg) for strip in strips]  # noqa: S314 - our own
    return [own for strip in found for own in strip if own.get("class") == "keyboard"]


def keys(diagram: ET.Element, kind: str) -> list[ET.Element]:
    found = diagram.iter(f"{SVG}rect")
    return [own for own in found if kind in (own.get("class") or "").split()]


def words(diagram: ET.Element, kind: str) -> list[str]:
    texts = diagram.iter(f"{SVG}text")
    return [own.text or "" for own in texts if own.get("class") == kind]


def centre(shape: ET.Element) -> float:
    return float(shape.attrib["x"]) + float(shape.get("width", "0")) / 2


def pressed(diagram: ET.Element) -> Iterator[int]:
    """Yield the keys that are shaded, as MIDI numbers, by counting from middle C."""
    whites = sorted(keys(diagram, "white"), key=centre)
    mark = diagram.find(f"{SVG}polygon[@class='middle-c']")
    assert mark is not None
    tip = float(mark.attrib["points"].split(",")[0])
    middle = min(range(len(whites)), key=lambda at: abs(centre(whites[at]) - tip))
    for at, key in enumerate(whites):
        if "pressed" in key.attrib["class"]:
            yield _white(at - middle)
    for key in keys(diagram, "black"):
        if "pressed" in key.attrib["class"]:
            left = max(at for at, own in enumerate(whites) if centre(own) < centre(key))
            yield _white(left - middle) + 1


def _white(steps: int) -> int:
    octave, step = divmod(steps, 7)
    return 60 + 12 * octave + sum(WHITE_STEPS[:step])


CHORDS = [
    "C4 E4 G4", "B3 D4 G4", "Bb3 D4 F4", "C#4 E4 A4", "F#4 A#4 C#5", "Eb4 Gb4 Cb5",
    "A3 C4 F4", "G4 B4 D5", "F3 A3 D4", "D4 F##4 A#4", "B3 D#4 F#4 A4",
]  # fmt: skip


@pytest.mark.parametrize("chord", CHORDS)
def test_the_keys_of_the_chord_are_shaded(chord: str) -> None:
    (diagram,) = drawn(board(chord))
    wanted = [parse_pitch(own).midi for own in chord.split()]
    assert sorted(pressed(diagram)) == wanted


@pytest.mark.parametrize("chord", CHORDS)
def test_two_octaves_are_drawn_and_fit(chord: str) -> None:
    (diagram,) = drawn(board(chord))
    assert len(keys(diagram, "white")) == 14
    assert len(keys(diagram, "black")) == 10


def test_keys_are_named_as_they_are_spelled() -> None:
    (diagram,) = drawn(board("Bb3 D4 F#4 C##5"))
    assert words(diagram, "letter") == ["B♭", "D", "F♯", "C\U0001d12a"]


def test_fingers_stand_below_their_keys() -> None:
    (diagram,) = drawn(board("C4 E4 G4", "135"))
    assert words(diagram, "finger") == ["1", "3", "5"]
    texts = {own.text: own for own in diagram.iter(f"{SVG}text")}
    foot = max(
        float(own.attrib["y"]) + float(own.attrib["height"])
        for own in keys(diagram, "white")
    )
    for letter, finger in ("C1", "E3", "G5"):
        assert texts[letter].attrib["x"] == texts[finger].attrib["x"]
        assert float(texts[finger].attrib["y"]) > foot


def test_shading_is_a_pattern_and_nothing_is_coloured() -> None:
    (strip,) = draw_keyboards([board("C4 Eb4 G4")], 178)
    fills = set(re.findall(r'(?:fill|stroke)="([^"]*)"', strip.svg))
    assert fills == {"url(#hatching)", "black", "white"}
    lines = re.findall(r'class="(\w+) pressed"[^>]*fill="url\(#hatching\)"', strip.svg)
    assert lines == ["white", "white", "black"]


def test_a_blank_diagram_has_keys_and_middle_c_alone() -> None:
    (diagram,) = drawn(Keyboard((), "G"))
    assert not keys(diagram, "pressed")
    assert words(diagram, "label") == ["G"]
    assert diagram.find(f"{SVG}polygon") is not None


def arches(*boards: Keyboard) -> list[str]:
    return [
        way
        for strip in draw_keyboards(boards, 178)
        for way in re.findall(r'class="kept" d="([^"]*)"', strip.svg)
    ]


def test_an_arch_links_each_key_that_is_kept() -> None:
    c, f, g = board("C4 E4 G4"), board("C4 F4 A4"), board("B3 D4 G4")
    assert len(arches(c, f)) == 1
    assert len(arches(c, f, g)) == 1
    assert len(arches(c, g)) == 1
    assert len(arches(c, c)) == 3
    assert not arches(c._replace(links=False), f)


def test_an_arch_leads_from_the_key_to_the_same_key() -> None:
    boards = (board("C4 E4 G4"), board("C4 F4 A4"))
    (way,) = arches(*boards)
    numbers = [float(one) for one in re.findall(r"[\d.]+", way)]
    first, second = drawn(*boards)
    lefts = [
        float(re.findall(r"[\d.]+", own.attrib["transform"])[0])
        for own in (first, second)
    ]
    letter = next(own for own in first.iter(f"{SVG}text") if own.text == "C")
    place = float(letter.attrib["x"])
    assert numbers[0] == pytest.approx(place + lefts[0], abs=0.05)
    assert numbers[-2] == pytest.approx(place + lefts[1], abs=0.05)


def test_an_arch_goes_on_in_the_next_row() -> None:
    strips = draw_keyboards([board("C4 E4 G4"), board("C4 F4 A4")], 60)
    ways = [re.findall(r'class="kept" d="([^"]*)"', strip.svg) for strip in strips]
    assert [len(way) for way in ways] == [1, 1]
    ends = [[float(n) for n in re.findall(r"[\d.]+", way[0])] for way in ways]
    assert ends[0][-2] == pytest.approx(strips[0].width, abs=0.05)
    assert ends[1][0] == 0


@pytest.mark.parametrize("width", [60, 120, 178, 265])
def test_strips_are_as_wide_as_asked_at_most(width: float) -> None:
    boards = [board("C4 E4 G4")] * 7
    strips = draw_keyboards(boards, width)
    assert all(strip.width <= width + 0.01 for strip in strips)
    assert sum(strip.svg.count('class="keyboard"') for strip in strips) == 7
    large = draw_keyboards(boards, width, large=True)
    assert 'serif" font-weight="bold"' in large[0].svg
    assert large[0].height > strips[0].height or width == 60


def test_diagrams_of_a_strip_begin_with_the_same_key() -> None:
    first, second = drawn(board("A3 C4 F4"), board("G4 B4 D5"))
    tips = [
        own.attrib["points"]
        for diagram in (first, second)
        for own in diagram.iter(f"{SVG}polygon")
    ]
    assert len(tips) == 2
    assert tips[0] == tips[1]


def test_a_strip_is_told_in_words() -> None:
    (strip,) = draw_keyboards([board("C4 E4", "13", "C (I)"), Keyboard(())], 178)
    assert strip.told == (
        "Keyboard C (I): C4 (finger 1) E4 (finger 3); Keyboard: blank"
    )


def test_the_chords_of_a_tune_are_drawn_in_order() -> None:
    tune = "Key: C\nTime: 4/4\nG - - - | A - - - | G - - - | C - - -"
    done = arrange(read_tune(tune), Style(keyboards=True))
    strips = [own for own in keyboard_blocks(done, Page()) if isinstance(own, Picture)]
    labels = re.findall(r'class="label"[^>]*>([^<]*)<', "".join(o.svg for o in strips))
    assert labels == [
        f"Bar {slot.place.bar}: {slot.chord} ({slot.numeral})" for slot in done.changes
    ]


def boards_of(tune: str, style: Style) -> list[tuple[str, str, set[str]]]:
    """Return label, left hand and pressed keys of every diagram of a tune."""
    done = arrange(read_tune(tune), style)
    strips = [own for own in keyboard_blocks(done, Page()) if isinstance(own, Picture)]
    return [
        (
            "".join(words(diagram, "label")),
            "".join(words(diagram, "under")),
            set(words(diagram, "letter")),
        )
        for strip in strips
        for diagram in ET.fromstring(strip.svg)  # noqa: S314 - our own
        if diagram.get("class") == "keyboard"
    ]


@pytest.mark.parametrize("texture", [Texture.LIGHT, Texture.HELD])
@pytest.mark.parametrize("left", [LeftHand.WALTZ, LeftHand.HELD, LeftHand.BROKEN])
def test_both_hands_together_show_the_whole_chord(
    texture: Texture, left: LeftHand
) -> None:
    tune = "Key: F\nTime: 3/4\nF4 A C5 | Bb - F4 | G C5 E | F5 - -"
    style = Style(keyboards=True, texture=texture, left_hand=left)
    shown = boards_of(tune, style)
    chords = {"F": {"F", "A", "C"}, "B♭": {"B♭", "D", "F"}, "C": {"C", "E", "G"}}
    assert {label.split()[2] for label, _, _ in shown} == set(chords)
    for label, under, letters in shown:
        both = letters | set(under.removeprefix("left: ").split(", "))
        wanted = chords[label.split()[2]]
        assert both <= wanted
        # A third is never left out; the fifth may be, where hands are thin.
        assert len(both) >= 2
        if left is not LeftHand.HELD:
            assert both == wanted


def test_the_legend_tells_of_what_is_drawn_alone() -> None:
    plain = [board("C6 E6 G6")]
    assert told_legend(plain) == "Press the hatched keys with the right hand."
    full = [board("C4 E4 G4", "135"), board("C4 F4 A4", "135")]
    assert told_legend([full[0]._replace(under="left: C"), full[1]]) == (
        "Press the hatched keys with the right hand; the numbers below are fingers. "
        "Below stands what the left hand plays. A triangle marks middle C. "
        "An arch leads to a key that is pressed again."
    )


def test_a_foreign_tune_note_is_no_key_of_the_chord() -> None:
    tune = "Key: C\nTime: 4/4\nG - - - | D - - - | C - - -\nChords: C | C | C"
    done = arrange(read_tune(tune), Style(keyboards=True))
    strips = [own for own in keyboard_blocks(done, Page()) if isinstance(own, Picture)]
    letters = re.findall(
        r'class="letter"[^>]*>([^<]*)<', "".join(o.svg for o in strips)
    )
    assert letters
    assert set(letters) <= {"C", "E", "G"}


@pytest.mark.parametrize("name", ["greensleeves", "bobby_shafto", "water_of_tyne"])
def test_letters_of_labels_are_all_that_sounds_of_the_chord(name: str) -> None:
    tune = tune_of(name)
    done = arrange(tune, Style(level=4, labels=Labels.LETTERS))
    ends = [slot.onset for slot in done.changes] + [tune.end]
    told = 0
    for onset, label in shape_labels(done):
        names = set(label.translate(str.maketrans("♯♭", "#b")).split())
        if not label[0].isupper():
            continue
        told += 1
        end = min(at for at in ends if at > onset)
        chord = next(slot.chord for slot in done.changes if slot.onset == onset)
        assert chord
        members = {str(one) for one in chord.members}
        sounding = {
            str(note.pitch.name)
            for note in done.notes
            if note.onset < end and note.onset + note.length > onset
        }
        assert names == members & sounding
        # From the lowest up: the left hand's first note begins.
        lowest = min(
            (note.pitch for note in done.notes if onset <= note.onset < end),
            key=lambda pitch: pitch.midi,
        )
        assert label.translate(str.maketrans("♯♭", "#b")).split()[0] == str(lowest.name)
    assert told

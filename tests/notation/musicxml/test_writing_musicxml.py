"""The page as a whole: valid, read back as it was meant, and as TRADE N01-N14 asks."""

from collections.abc import Callable
from fractions import Fraction
from itertools import pairwise
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from makers.profiles import spread
from makers.score_dice import random_arrangement
from makers.scores import BLOCK, HELD, arrange, make_tune
from oracles.page_reader import (
    accidental_faults,
    beam_faults,
    length_faults,
    marks_of,
    tuplet_faults,
)
from oracles.score_reader import Read, read_notes, read_symbols, schema_faults

from harmonise.notation.musicxml.writer import format_musicxml
from harmonise.theory.arrangement import Arrangement, Hand, Style, Voice
from harmonise.theory.key import parse_key
from harmonise.theory.pitch import parse_pitch
from harmonise.theory.tune import Grace, KeyChange, Tempo, Tune

SEEDS = 500


def change(tune: Tune, number: int, **marks: Any) -> Tune:  # noqa: ANN401
    """Return a tune with marks on one of its notes."""
    notes = list(tune.notes)
    notes[number] = notes[number]._replace(**marks)
    return tune._replace(notes=tuple(notes))


def change_bar(tune: Tune, number: int, **marks: Any) -> Tune:  # noqa: ANN401
    """Return a tune with marks on one of its bars."""
    bars = list(tune.bars)
    bars[number] = bars[number]._replace(**marks)
    return tune._replace(bars=tuple(bars))


def simple(texture: str = HELD, style: Style = Style()) -> Arrangement:  # noqa: B008
    """Return four plain bars in G, the first chord held for two bars."""
    tune = make_tune(
        "D5:1 B4:1 C5:1 D5:1 B4:2 G4:2 A4:1 B4:1 C5:1 A4:1 G4:4",
        "G",
        words=("la " * 11,),
    )
    return arrange(tune, "G:8 D7:4 G:4", texture, style)


def ending() -> Arrangement:
    """Return a tune with a pickup, two endings, words in two verses, and a fermata."""
    words = ("Come and sing a song_ * with me", "Stay and take- the- * long_ way home")
    tune = make_tune(
        "C5:1 F4:3/2 F4:1/2 F4:1 A4:1 G4:3/2 F4:1/2 G4:1 r:1 F4:4 F4:3",
        "F",
        pickup="1",
        words=words,
    )
    tune = change_bar(tune, 1, repeat_start=True)
    tune = change_bar(tune, 3, ending=(1,), repeat_end=2)
    tune = change_bar(tune, 4, ending=(2,))
    return arrange(change(tune, 10, fermata=True), "-:1 F:4 C/E:4 F:4 F:3")


def minor() -> Arrangement:
    """Return block chords in a minor key with grace notes, slurs and triplets."""
    tune = make_tune(
        "A4:1 G#4:1 A4:1 C5:1/3 B4:1/3 A4:1/3 G#4:1 B4:1 A4:3", "A minor", "3/4"
    )
    tune = change(tune, 0, graces=(Grace(parse_pitch("B4")),), slur_starts=1)
    tune = change(tune, 2, slur_ends=1, slur_starts=1)
    tune = change(tune, 5, slur_ends=1)
    return arrange(tune, "Am:1 E:1 Am:1 Am:1 E:2 Am:3", BLOCK, Style(fingering=True))


def composite() -> Arrangement:
    """Return a tune in 3+2 that changes to 6/8 and another key."""
    tune = make_tune("C5:3 D5:2 E5:1 F5:2 G5:2 E5:5", "C", "3+2/4")
    keys = (*tune.keys, KeyChange(Fraction(5), parse_key("D mixolydian")))
    tempos = (Tempo(Fraction(0), Fraction(185, 2), Fraction(3, 2), "Moving & light"),)
    return arrange(tune._replace(keys=keys, tempos=tempos), "C:5 G/B:5 C:5")


HAND_MADE: dict[str, Callable[[], Arrangement]] = {
    "held": simple,
    "block": lambda: simple(BLOCK, Style(fingering=True, numerals=False)),
    "endings": ending,
    "minor": minor,
    "composite": composite,
}
hand_made = pytest.mark.parametrize("make", HAND_MADE.values(), ids=HAND_MADE)


def page(arrangement: Arrangement) -> ET.Element:
    """Return the page of an arrangement as a tree."""
    return ET.fromstring(format_musicxml(arrangement))  # noqa: S314 - our own file


def words_wanted(tune: Tune) -> list[tuple[tuple[int, str, str], ...]]:
    """Return the syllables of each struck note, hyphens told as MusicXML tells them."""
    joined: dict[int, bool] = {}
    wanted = []
    for note in tune.sounding:
        own = []
        for verse, syllable in enumerate(note.syllables, 1):
            if syllable:
                places = {
                    (False, False): "single",
                    (False, True): "begin",
                    (True, True): "middle",
                    (True, False): "end",
                }
                place = places[joined.get(verse, False), syllable.joins]
                own.append((verse, place, syllable.text))
                joined[verse] = syllable.joins
        wanted.append(tuple(own))
    return wanted


def assert_read_back(arrangement: Arrangement, name: object = "") -> None:
    """Assert that music21 reads every note as it was meant."""
    tune, others = read_notes(format_musicxml(arrangement))
    wanted_tune = [(n.onset, n.length, n.pitch) for n in arrangement.tune.sounding]
    assert [own[:3] for own in tune] == wanted_tune, name
    assert [own.words for own in tune] == words_wanted(arrangement.tune), name
    staff = {Hand.RIGHT: 1, Hand.LEFT: 2}
    wanted = [
        Read(note.onset, note.length, note.pitch, staff[note.hand])
        for note in arrangement.notes
        if note.voice is not Voice.TUNE
    ]
    read = sorted(own[:4] for own in others)
    assert read == sorted(own[:4] for own in wanted), name


@hand_made
def test_pages_are_valid_and_read_back_as_meant(
    make: Callable[[], Arrangement],
) -> None:
    assert_playable(make())
    assert_read_back(make())


def test_the_schema_finds_a_fault() -> None:
    broken = format_musicxml(simple()).replace(b"<voice>1</voice>", b"<voices/>", 1)
    assert schema_faults(broken) != []


@pytest.mark.parametrize("first", range(0, SEEDS, 25))
def test_random_pages_are_valid_and_read_back_as_meant(first: int) -> None:
    seeds = range(first, first + 25)
    for seed in spread(seeds, 12):
        assert_playable(random_arrangement(seed), seed)
    for seed in spread(seeds, 5):
        assert_read_back(random_arrangement(seed), seed)


def assert_playable(arrangement: Arrangement, name: object = "") -> None:
    """Assert that a page is valid, and that its bars, beams and signs add up."""
    musicxml = format_musicxml(arrangement)
    marks = marks_of(musicxml)
    assert schema_faults(musicxml) == [], name
    assert length_faults(marks) == [], name
    assert beam_faults(marks) + tuplet_faults(marks) == [], name
    if keys_change_at_bars(arrangement.tune):
        assert accidental_faults(musicxml) == [], name


def keys_change_at_bars(tune: Tune) -> bool:
    """Whether no key changes inside a bar, which our page reader cannot follow."""
    starts = {bar.start for bar in tune.bars}
    return all(change.onset in starts for change in tune.keys)


@hand_made
def test_the_same_arrangement_gives_the_same_bytes(
    make: Callable[[], Arrangement],
) -> None:
    first = format_musicxml(make())
    assert format_musicxml(make()) == first
    assert b"date" not in first


def test_both_staves_are_one_part_under_one_key_and_time() -> None:  # N01
    root = page(simple())
    assert len(root.findall("part")) == 1
    assert [e.text for e in root.findall(".//staves")] == ["2"]
    assert [e.text for e in root.findall(".//clef/sign")] == ["G", "F"]
    (key,), (time,) = root.findall(".//key"), root.findall(".//time")
    assert key.get("number") is None
    assert time.get("number") is None


def test_two_treble_voices_turn_their_stems_apart() -> None:  # N02
    made = arrange(make_tune("C5:1 D5:1 E5:1 G5:1", "C"), "C:2 G:2")
    stems = {
        (mark.text("voice"), mark.text("stem"))
        for mark in marks_of(format_musicxml(made))
        if mark.text("stem") and mark.text("staff") == "1"
    }
    assert stems == {("1", "up"), ("2", "down")}


def test_block_chords_share_a_stem_that_the_furthest_note_turns() -> None:  # N02
    treble = [m for m in marks_of(format_musicxml(simple(BLOCK))) if m.bar == 0]
    first = [m for m in treble if m.onset == 0 and m.text("staff") == "1"]
    names = [m.text("pitch/step") + m.text("pitch/octave") for m in first]
    # G4 is two steps under the middle line, D5 two above: a tie turns the stem down.
    # Readers of single notes get the tune: it comes before those below it.
    assert names == ["D5", "B4", "G4"]
    assert {(m.text("voice"), m.text("stem")) for m in first} == {("1", "down")}
    assert [m.is_chord for m in first] == [False, True, True]


def test_the_bass_turns_its_stems_at_the_middle_line() -> None:  # N02
    tune = make_tune("C5:2 D5:2", "C")
    marks = marks_of(format_musicxml(arrange(tune, "C:2 D:2")))
    low = [m for m in marks if m.text("staff") == "2"]
    stems = {m.text("pitch/step"): m.text("stem") for m in low}
    assert stems == {"C": "up", "D": "down"}


def test_bars_tied_together_keep_inner_notes_in_their_voice() -> None:
    # The second bar alone could be a block chord, but its inner notes are tied into it.
    tune = make_tune("E5:2 D5:2 C5:4 C5:4", "C")
    made = arrange(tune, "C:8 C:4")
    voices: dict[int, set[str]] = {0: set(), 1: set(), 2: set()}
    for mark in marks_of(format_musicxml(made)):
        voices[mark.bar].add(mark.text("voice"))
    assert voices == {0: {"1", "2", "5"}, 1: {"1", "2", "5"}, 2: {"1", "5"}}


def test_symbols_stand_where_chords_change() -> None:  # N04
    wanted = [
        (Fraction(0), "G", "G"),
        (Fraction(8), "D", "D"),
        (Fraction(12), "G", "G"),
    ]
    assert read_symbols(format_musicxml(simple())) == wanted


def test_symbols_between_notes_carry_an_offset() -> None:  # N04
    made = arrange(make_tune("C5:4 D5:4", "C"), "C:3 F:1 G/B:4")
    wanted = [
        (Fraction(0), "C", "C"),
        (Fraction(3), "F", "F"),
        (Fraction(4), "G", "B"),
    ]
    assert read_symbols(format_musicxml(made)) == wanted
    assert schema_faults(format_musicxml(made)) == []


def test_every_ending_states_its_chord() -> None:
    # F is already in force when the second ending comes, but its player comes from C/E.
    found = read_symbols(format_musicxml(ending()))
    assert [own[0] for own in found] == [1, 5, 9, 13]


def test_a_repeat_that_begins_with_a_lone_pickup_states_its_chord_after_it() -> None:
    tune = make_tune("C5:4 C5:3 D5:1 C5:4 C5:4", "C")
    whole = tune.bars[1]
    first = whole._replace(length=Fraction(3))
    second = whole._replace(
        start=whole.start + 3, length=Fraction(1), offset=Fraction(3), repeat_start=True
    )
    bars = (tune.bars[0], first, second, *tune.bars[2:])
    made = arrange(tune._replace(bars=bars), "C:7 C:1 C:8")
    quiet = [n for n in made.notes if n.onset != 7 or n.voice is Voice.TUNE]
    found = read_symbols(format_musicxml(made._replace(notes=tuple(quiet))))
    assert [own[0] for own in found] == [0, 8]


def test_inversion_is_that_of_the_harmony_not_of_the_right_hand() -> None:  # N06
    root = page(arrange(make_tune("C5:2 D5:2", "C"), "C:2 G/B:2"))
    assert [e.text for e in root.findall(".//harmony/inversion")] == ["0", "1"]
    assert [e.text for e in root.findall(".//bass/bass-step")] == ["B"]


def test_numerals_stand_under_the_bass_at_each_change() -> None:  # N04, N05, N06
    made = arrange(make_tune("E5:4 D5:2 C5:2", "C"), "C:4 C/G:1 G7:1 C:2")
    lyrics = [
        (mark.bar, int(mark.onset), mark.text("lyric/text"))
        for mark in marks_of(format_musicxml(made))
        if mark.note.find("lyric[@name='numeral']") is not None
    ]
    assert lyrics == [(0, 0, "I"), (1, 0, "I⁶₄"), (1, 1, "V⁷"), (1, 2, "I")]
    assert b"numeral" not in format_musicxml(simple(HELD, Style(numerals=False)))


def test_a_numeral_over_a_held_bass_stands_on_a_tied_note() -> None:
    made = arrange(make_tune("C5:4", "C"), "C:2 F:2")
    low = made.notes[0]._replace(length=Fraction(4))
    notes = (low, *(n for n in made.notes[1:] if n.voice is not Voice.BASS))
    made = made._replace(notes=notes)
    bass = [m for m in marks_of(format_musicxml(made)) if m.text("staff") == "2"]
    assert [m.text("lyric/text") for m in bass] == ["I", "IV"]
    assert bass[1].note.find("tie[@type='stop']") is not None
    assert_read_back(made)


def test_fingers_stand_above_the_right_hand_and_below_the_left() -> None:  # N07
    root = page(simple(BLOCK, Style(fingering=True)))
    placed = {
        (note.findtext("staff"), finger.get("placement"))
        for note in root.iter("note")
        for finger in note.iter("fingering")
    }
    assert placed == {("1", "above"), ("2", "below")}
    chord = list(root.iter("note"))[:3]
    assert [n.findtext("notations/technical/fingering") for n in chord] == list("531")
    assert not list(page(simple(BLOCK)).iter("fingering"))


def test_words_are_numbered_joined_and_held() -> None:  # N08
    lyrics = page(ending()).findall(".//note[staff='1']/lyric")
    second = [own for own in lyrics if own.get("number") == "2"]
    texts = [(own.findtext("syllabic"), own.findtext("text")) for own in second]
    assert texts[:6] == [
        ("single", "Stay"),
        ("single", "and"),
        ("begin", "take"),
        ("middle", "the"),
        ("end", "long"),
        ("single", "way"),
    ]
    assert second[4].find("extend") is not None


def test_a_pickup_is_bar_0_and_a_split_bar_is_counted_once() -> None:  # N09
    tune = make_tune("C5:1 C5:4 C5:2 D5:2 E5:3", "C", pickup="1")
    half = tune.bars[2]
    first = half._replace(length=Fraction(2))
    second = half._replace(
        start=half.start + 2, length=Fraction(2), offset=Fraction(2), repeat_start=True
    )
    bars = (*tune.bars[:2], first, second, *tune.bars[3:])
    root = page(arrange(tune._replace(bars=bars), "C:12"))
    numbers = [(m.get("number"), m.get("implicit")) for m in root.iter("measure")]
    assert numbers == [
        ("0", "yes"),
        ("1", None),
        ("2", None),
        ("X1", "yes"),
        ("3", None),
    ]


def test_repeats_and_endings_are_fenced() -> None:
    lines = [
        (
            line.get("location"),
            line.findtext("bar-style"),
            "".join(f"{e.get('number')} {e.get('type')}" for e in line.iter("ending")),
            "".join(e.get("direction", "") for e in line.iter("repeat")),
        )
        for line in page(ending()).iter("barline")
    ]
    assert lines == [
        ("left", "heavy-light", "", "forward"),
        ("left", None, "1 start", ""),
        ("right", "light-heavy", "1 stop", "backward"),
        ("left", None, "2 start", ""),
        ("right", "light-heavy", "2 discontinue", ""),
    ]


def test_three_times_through_is_said_in_words_too() -> None:
    made = simple()
    root = page(made._replace(tune=change_bar(made.tune, 3, repeat_end=3)))
    assert root.find(".//repeat[@times='3']") is not None
    assert [w.text for w in root.iter("words")] == ["play 3 times"]


def test_a_fermata_stands_over_both_hands_at_one_place() -> None:  # N10
    made = ending()
    # The last chord begins with the last tune note.
    marks = marks_of(format_musicxml(made))
    found = [m for m in marks if m.note.find("notations/fermata") is not None]
    assert [(m.bar, int(m.onset), m.text("staff")) for m in found] == [
        (4, 0, "1"),
        (4, 0, "2"),
    ]
    # Under a bass that is held, the bass is tied so that it can carry one too.
    held = simple()
    held = held._replace(tune=change(held.tune, 3, fermata=True))
    marks = marks_of(format_musicxml(held))
    found = [m for m in marks if m.note.find("notations/fermata") is not None]
    assert [(int(m.onset), m.text("staff")) for m in found] == [(3, "1"), (3, "2")]
    # An inner voice that begins with the tune needs none of its own.
    three = arrange(make_tune("C5:1 D5:1 E5:1 G5:1", "C"), "C:2 G:2")
    three = three._replace(tune=change(three.tune, 2, fermata=True))
    assert format_musicxml(three).count(b"<fermata") == 2
    assert_read_back(held)


def test_lines_end_where_phrases_end() -> None:  # N12
    def breaks(phrases: tuple[int, ...], bars: int, pickup: str = "0") -> list[int]:
        text = f"C5:{pickup} " * (pickup != "0") + "C5:4 " * bars
        tune = make_tune(text, "C", pickup=pickup)
        tune = tune._replace(phrases=tuple(map(Fraction, phrases)))
        root = page(arrange(tune, f"C:{tune.end}"))
        return [
            number
            for number, measure in enumerate(root.iter("measure"))
            if measure.find("print[@new-system='yes']") is not None
        ]

    assert breaks((16, 32), 8) == [4]
    assert breaks((17, 33), 8, "1") == [5]
    # A phrase that ends inside a bar takes that bar with it.
    assert breaks((15, 32), 8) == [4]
    # One bar is no line, and eight are two.
    assert breaks((4, 12, 20), 5) == [3]
    assert breaks((32,), 8) == [4]
    assert breaks((48,), 12) == [4, 8]


def test_tempo_is_words_and_metronome_in_one_direction() -> None:  # N13
    (direction,) = page(composite()).findall(".//direction")
    assert direction.get("placement") == "above"
    assert direction.findtext("direction-type/words") == "Moving & light"
    metronome = direction.find("direction-type/metronome")
    assert metronome is not None
    assert [own.tag for own in metronome] == [
        "beat-unit",
        "beat-unit-dot",
        "per-minute",
    ]
    assert metronome.findtext("per-minute") == "92.5"
    # 92.5 dotted crotchets are 138.75 crotchets.
    assert direction.find("sound[@tempo='138.75']") is not None


def test_signatures_change_where_the_tune_changes_them() -> None:
    root = page(composite())
    found = [
        (number, key.findtext("fifths"), key.findtext("mode"))
        for number, measure in enumerate(root.iter("measure"))
        for key in measure.iter("key")
    ]
    assert found == [(0, "0", "major"), (1, "1", "mixolydian")]
    assert [e.text for e in root.iter("beats")] == ["3+2"]


def test_jumps_are_words_and_sounds() -> None:
    made = simple()
    text = ((Fraction(8), "Fine"), (Fraction(16), "D.C. al Fine"))
    root = page(made._replace(tune=made.tune._replace(end_text=text)))
    places = [
        (number, sound.attrib)
        for number, measure in enumerate(root.iter("measure"))
        for sound in measure.iter("sound")
    ]
    assert places == [(1, {"fine": "yes"}), (3, {"dacapo": "yes"})]


def test_ids_name_the_sounding_notes() -> None:
    made = simple()
    struck = {f"n{number}": note for number, note in enumerate(made.notes)}
    parts: dict[str, int] = {}
    for mark in marks_of(format_musicxml(made)):
        if mark.note.find("pitch") is None:
            continue
        name, _, part = (mark.note.get("id") or "").partition("-")
        parts[name] = parts.get(name, 0) + 1
        assert int(part or 1) == parts[name]
        pitch = struck[name].pitch
        assert mark.text("pitch/octave") == str(pitch.octave)
    assert set(parts) == set(struck)
    # The first chord is held over the bar line: three of its notes are tied.
    assert sorted(parts.values())[-3:] == [2, 2, 2]


def test_slurs_pair_up_and_leave_out_half_slurs() -> None:
    made = minor()
    made = made._replace(tune=change(made.tune, 8, slur_starts=1))
    slurs = [
        (mark.onset + 3 * mark.bar, slur.get("type"), slur.get("number"))
        for mark in marks_of(format_musicxml(made))
        for slur in mark.note.iter("slur")
    ]
    third = Fraction(1, 3)
    assert slurs == [
        (0, "start", "1"),
        (2, "stop", "1"),
        (2, "start", "2"),
        (3 + 2 * third, "stop", "2"),
    ]


def test_the_header_names_title_origin_and_maker_and_no_date() -> None:
    made = simple()
    tune = made.tune._replace(title="Rosa & \x00<Lily>", origin="Own tune")
    tune = tune._replace(composer="A. <Miller>")
    root = page(made._replace(tune=tune))
    assert root.findtext("work/work-title") == "Rosa & <Lily>"
    assert root.findtext("identification/source") == "Own tune"
    maker = root.find("identification/creator")
    assert maker is not None
    assert (maker.get("type"), maker.text) == ("composer", "A. <Miller>")
    assert root.findtext("identification/encoding/software") == "harmonise"
    assert root.find("identification/rights") is not None
    assert root.findtext("identification/rights") in (None, "")
    assert root.find(".//encoding-date") is None


def test_every_voice_fills_its_bar() -> None:
    for own in (make() for make in HAND_MADE.values()):
        marks = [m for m in marks_of(format_musicxml(own)) if not m.is_chord]
        for left, right in pairwise(marks):
            same = left.bar == right.bar and left.text("voice") == right.text("voice")
            if same and left.text("voice") != "2":
                assert left.onset + left.length == right.onset

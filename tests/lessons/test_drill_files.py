from collections import Counter
from fractions import Fraction
from pathlib import Path
from xml.etree import ElementTree as ET

import music21  # noqa: TID251 (the oracle of the tests)
import pytest
from oracles.score_reader import schema_faults

from harmonise.errors import OutputError
from harmonise.lessons.drill_copies import DrillCopy, Version, joined, plan_copy
from harmonise.lessons.drill_files import (
    DrillOutput,
    check_place,
    format_drill,
    write_drill,
)
from harmonise.lessons.drill_makers import DrillWish, Exercise
from harmonise.lessons.drills import DRILLS, all_keys, exercises
from harmonise.notation.musicxml.writer import format_plan
from harmonise.theory.arrangement import Labels, LeftHand
from harmonise.theory.key import Mode, parse_key

VERSIONS = list(Version)
KEYS = (parse_key("C"), parse_key("Eb"))


def drill(name: str) -> tuple[Exercise, ...]:
    minor = next(own for own in DRILLS if own.name == name).modes == (Mode.MINOR,)
    return exercises(name, all_keys(minor=minor)[:2])


def copy_xml(found: tuple[Exercise, ...], copy: DrillCopy) -> ET.Element:
    musicxml = format_plan(plan_copy(joined(found, "Drill", copy), copy.version))
    return ET.fromstring(musicxml)  # noqa: S314 (our own file)


def numerals_of(score: ET.Element) -> list[str]:
    """Return the numerals in order, whether lyrics of the bass or words under it."""
    found = []
    for measure in score.iter("measure"):
        for element in measure:
            staff = element.findtext("staff")
            if staff != "2":
                continue
            texts = element.findall("lyric/text")
            texts += element.findall("direction-type/words")
            found += [text.text or "" for text in texts]
    return found


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("name", [own.name for own in DRILLS])
def test_every_copy_of_every_drill_is_valid_musicxml(
    name: str, version: Version
) -> None:
    score = joined(drill(name), name, DrillCopy(version))
    musicxml = format_plan(plan_copy(score, version))
    assert schema_faults(musicxml) == []


@pytest.mark.parametrize("name", ["D1", "D3", "D6", "D9", "D10"])
def test_music21_reads_every_note_of_an_exercise(name: str) -> None:
    found = drill(name)
    score = joined(found, name)
    theirs = music21.converter.parseData(
        format_plan(plan_copy(score, Version.EXERCISE))
    )
    heard = Counter(
        (Fraction(note.getOffsetInHierarchy(theirs)), pitch.nameWithOctave)
        for note in theirs.recurse().notes
        if "ChordSymbol" not in note.classes
        if note.tie is None or note.tie.type == "start"
        for pitch in note.pitches
    )
    assert heard == Counter(
        (note.onset, str(note.pitch).replace("b", "-")) for note in score.notes
    )


def test_keys_change_at_double_bars_with_words_above() -> None:
    score = copy_xml(exercises("D1", KEYS), DrillCopy(Version.EXERCISE))
    measures = list(score.iter("measure"))
    fifths = {
        at: key.findtext("fifths")
        for at, measure in enumerate(measures)
        for key in measure.iter("key")
    }
    assert fifths == {0: "0", 9: "-3"}
    lines = [measure.findtext("barline/bar-style") for measure in measures]
    assert lines == [None, None, "light-light"] * 5 + [None, None, "light-heavy"]
    words = [text.text for text in score.iter("words")]
    assert words[::3] == [
        "C major, from root position",
        "E♭ major, from root position",
    ]
    assert len(words) == 6


def test_every_exercise_begins_a_line_and_prints_its_first_chord() -> None:
    score = copy_xml(exercises("D1", KEYS), DrillCopy(Version.ANSWER))
    measures = list(score.iter("measure"))
    starts = [at for at, bar in enumerate(measures) if bar.find("print") is not None]
    assert starts == [3, 6, 9, 12, 15]
    for at in (0, *starts):
        assert measures[at].find("harmony") is not None
    assert numerals_of(score) == ["I", "IV", "I", "V", "I"] * 6


def test_an_exercise_has_symbols_but_no_answers() -> None:
    score = copy_xml(exercises("D1", KEYS), DrillCopy(Version.EXERCISE))
    assert numerals_of(score) == []
    assert len(list(score.iter("harmony"))) == 30
    assert list(score.iter("lyric")) == []
    assert list(score.iter("fingering")) == []


def test_fingers_may_stand_on_an_exercise() -> None:
    score = copy_xml(exercises("D1", KEYS), DrillCopy(Version.EXERCISE, fingering=True))
    assert len(list(score.iter("fingering"))) == len(list(score.iter("pitch")))


def test_a_blank_copy_has_numerals_and_the_first_chord_only() -> None:
    for name, count in (("D1", 5), ("D4", 4)):
        score = copy_xml(exercises(name, KEYS), DrillCopy(Version.BLANK))
        assert len(list(score.iter("pitch"))) == 6 * 4
        assert len(numerals_of(score)) == 6 * count
        assert list(score.iter("harmony")) == []
        rests = [note for note in score.iter("note") if note.find("rest") is not None]
        assert rests
        assert {rest.get("print-object") for rest in rests} == {"no"}


def test_a_blank_waltz_has_rests_of_three_beats() -> None:
    found = exercises("D1", KEYS[:1], DrillWish(pattern=LeftHand.WALTZ))
    score = copy_xml(found, DrillCopy(Version.BLANK))
    rests = [note for note in score.iter("note") if note.find("rest") is not None]
    values = {(r.findtext("type"), len(r.findall("dot"))) for r in rests}
    assert values == {("half", 1)}


@pytest.mark.parametrize(
    ("labels", "told"),
    [
        (Labels.WORDS, "root second root first root"),
        (Labels.FIGURES, "⁵₃ ⁶₄ ⁵₃ ⁶₃ ⁵₃"),
        (Labels.LETTERS, "a c a b a"),
        (Labels.NONE, ""),
    ],
)
def test_answers_name_every_shape(labels: Labels, told: str) -> None:
    score = copy_xml(
        exercises("D1", KEYS)[:1], DrillCopy(Version.ANSWER, labels=labels)
    )
    texts = [
        text.text or ""
        for note in score.iter("note")
        if note.findtext("staff") == "1"
        for text in note.findall("lyric/text")
    ]
    assert " ".join(texts) == told
    assert len(list(score.iter("fingering"))) == len(list(score.iter("pitch")))


@pytest.mark.parametrize("version", [Version.EXERCISE, Version.BLANK])
def test_shapes_to_be_named_stand_there_without_names(version: Version) -> None:
    score = copy_xml(exercises("D11", KEYS), DrillCopy(version))
    assert len(list(score.iter("pitch"))) == 2 * 9 * 3
    assert list(score.iter("harmony")) == []
    assert numerals_of(score) == []


def test_the_answers_of_shapes_to_be_named_have_chord_and_numeral() -> None:
    score = copy_xml(exercises("D11", KEYS), DrillCopy(Version.ANSWER))
    assert len(list(score.iter("harmony"))) == 18
    assert Counter(numerals_of(score)) == {"I": 6, "IV": 6, "V": 6}


@pytest.mark.parametrize("ending", [".musicxml", ".mxl", ".mid"])
def test_the_same_drill_gives_the_same_bytes(ending: str) -> None:
    once = format_drill(exercises("D9", KEYS), "D9", ending, DrillOutput())
    again = format_drill(exercises("D9", KEYS), "D9", ending, DrillOutput())
    assert once == again
    assert once


def test_midi_has_every_note_whatever_the_copy() -> None:
    found = exercises("D1", KEYS)
    blank = DrillOutput(copy=DrillCopy(Version.BLANK))
    assert format_drill(found, "D1", ".mid", blank) == format_drill(
        found, "D1", ".mid", DrillOutput()
    )


def test_a_drill_is_written_and_never_over_another_file(tmp_path: Path) -> None:
    target = tmp_path / "drill.xml"
    found = exercises("D8", KEYS)
    write_drill(found, "D8", target, DrillOutput())
    assert target.read_bytes() == format_drill(found, "D8", ".xml", DrillOutput())
    write_drill(found, "D8", target, DrillOutput())
    target.write_text("mine")
    with pytest.raises(OutputError, match="exists already"):
        write_drill(found, "D8", target, DrillOutput())
    assert target.read_text() == "mine"


def test_an_unknown_ending_is_refused() -> None:
    with pytest.raises(OutputError) as caught:
        check_place(Path("drill.doc"))
    assert str(caught.value) == (
        '"drill.doc" does not end in .musicxml, .xml, .mxl, .mid, .midi, .pdf or '
        ".png. Call it drill.musicxml, drill.mid or drill.pdf."
    )

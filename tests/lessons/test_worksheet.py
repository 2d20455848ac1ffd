from fractions import Fraction
from functools import cache
from pathlib import Path

import pytest
from music21 import roman  # noqa: TID251 (the oracle of the tests)
from oracles.music21_reading import oracle_key, oracle_stack

from harmonise.choice.palette import palette
from harmonise.lessons.model import opening, related_keys, slots_of, sounding
from harmonise.lessons.versions import counts_of, make_sheets
from harmonise.lessons.worksheet import SheetKind, SheetOrder, Worksheet
from harmonise.notation.formats import read_tune
from harmonise.theory.arrangement import (
    Arrangement,
    Hand,
    Labels,
    Slot,
    SoundingNote,
    Style,
    Voice,
)
from harmonise.theory.key import Mode, parse_key
from harmonise.theory.pitch import Pitch
from harmonise.theory.transposing import transposed
from harmonise.theory.tune import Tune

TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.txt"))
NAMES = [path.stem for path in TUNES]
WRITTEN = (SheetKind.LABELS, SheetKind.ACCOMPANY, SheetKind.CHOOSE)

every_tune = pytest.mark.parametrize("name", NAMES)
# Questions by ear are no music on paper; they have tests of their own.
KINDS = [kind for kind in SheetKind if kind is not SheetKind.AURAL]
every_kind = pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.value)


@cache
def tune_of(name: str) -> Tune:
    return read_tune(TUNES[NAMES.index(name)])


@cache
def sheets_of(name: str, kind: SheetKind, versions: int = 1) -> tuple[Worksheet, ...]:
    return make_sheets(tune_of(name), SheetOrder(kind), versions)


def sheet_of(name: str, kind: SheetKind) -> Worksheet:
    return sheets_of(name, kind)[0]


def model_of(sheet: Worksheet) -> Arrangement:
    return sheet.pieces[0].arrangement


def fitting(model: Arrangement) -> list[Slot]:
    """Return the chord changes whose chord has the tune note that sounds there."""
    found = []
    for slot in model.changes:
        notes = [n for n in model.tune.sounding if n.onset <= slot.onset < n.end]
        members = slot.chord.pitch_classes if slot.chord else ()
        if all(note.pitch and note.pitch.pitch_class in members for note in notes):
            found.append(slot)
    return found


def right_hand(notes: tuple[SoundingNote, ...]) -> list[Pitch]:
    return [note.pitch for note in notes if note.hand is Hand.RIGHT]


@every_tune
@pytest.mark.parametrize(
    "kind",
    [kind for kind in KINDS if kind not in (SheetKind.TRANSPOSE, SheetKind.TUNE)],
    ids=str,
)
def test_the_first_item_alone_is_worth_nothing(name: str, kind: SheetKind) -> None:
    first, *others = sheet_of(name, kind).items
    assert first.marks == 0
    assert others
    # Nothing is earned where a chord merely goes on.
    assert all((item.marks > 0) is not item.stays for item in others)


@every_tune
def test_there_is_an_item_for_every_chord_change_and_one_for_every_slot(
    name: str,
) -> None:
    sheet = sheet_of(name, SheetKind.ACCOMPANY)
    onsets = [slot.onset for slot in model_of(sheet).changes]
    assert [item.onset for item in sheet.items] == onsets
    sheet = sheet_of(name, SheetKind.CHOOSE)
    onsets = [slot.onset for slot in slots_of(model_of(sheet))]
    assert [item.onset for item in sheet.items] == onsets
    assert [box.onset for box in sheet.pieces[0].boxes] == onsets


@every_tune
def test_a_sheet_is_cut_where_a_line_ends_and_holds_eight_bars_at_most(
    name: str,
) -> None:
    whole, cut = tune_of(name), opening(tune_of(name), 8)
    full = [bar for bar in cut.bars if bar.number > 0 and not bar.offset]
    assert len(full) <= 8
    inside = [end for end in whole.phrases if end <= cut.end]
    assert cut.end in {*inside, whole.end, cut.bars[-1].start + cut.bars[-1].length}
    kept = [(note.onset, note.pitch) for note in cut.notes]
    assert kept == [(n.onset, n.pitch) for n in whole.notes if n.onset < cut.end]
    assert sum(note.length for note in cut.notes) == cut.end
    assert sum(bar.length for bar in cut.bars) == cut.end


@every_tune
def test_labels_are_those_that_music21_gives_to_the_notes(name: str) -> None:
    sheet = sheet_of(name, SheetKind.LABELS)
    model, compared = model_of(sheet), 0
    for item, slot in zip(sheet.items, fitting(model), strict=True):
        notes = sounding(model, item.onset)
        right = right_hand(notes)
        found = oracle_stack([note.pitch for note in notes])
        if len({note.pitch.pitch_class for note in notes}) != 3:
            continue
        if not found.isTriad() or len(right) != 3:
            continue
        symbol, numeral, *shape = item.answers[0].text.split(" · ")
        compared += 1
        minor = "m" if found.quality == "minor" else ""
        assert symbol == _m21_name(found.root().name) + minor
        number = oracle_stack(right).inversion()
        doubled = len({pitch.pitch_class for pitch in right}) < 3
        assert shape == (["open"] if doubled else _SHAPES[number])
        if slot.key.mode in (Mode.MAJOR, Mode.MINOR):
            home = oracle_key(slot.key)
            told = roman.romanNumeralFromChord(found, home).romanNumeralAlone
            assert numeral.lstrip("♭♯") == told
    assert compared >= len(sheet.items) / 2


_SHAPES = {0: ["root", "5/3"], 1: ["first", "6/3"], 2: ["second", "6/4"]}


def _m21_name(name: str) -> str:
    return name.replace("-", "♭").replace("#", "♯")


@every_tune
def test_the_answer_has_the_tune_on_top_and_the_root_in_the_left_hand(
    name: str,
) -> None:
    sheet = sheet_of(name, SheetKind.ACCOMPANY)
    model = model_of(sheet)
    for item, slot in zip(sheet.items, model.changes, strict=True):
        assert slot.chord is not None
        notes = sounding(model, item.onset)
        tune = [note.pitch for note in notes if note.voice is Voice.TUNE]
        left = [note.pitch for note in notes if note.hand is Hand.LEFT]
        assert [pitch.name for pitch in left] == [slot.chord.root]
        if tune:
            assert right_hand(notes)[-1] == tune[0]
        right = " ".join(map(str, right_hand(notes)))
        assert item.answers[0].text == f"right hand {right}, left hand {left[0]}"


@every_tune
def test_what_is_hidden_is_all_that_the_pupil_writes(name: str) -> None:
    for kind in (SheetKind.ACCOMPANY, SheetKind.CHOOSE):
        sheet = sheet_of(name, kind)
        piece, second = sheet.pieces[0], sheet.items[1].onset
        for number, note in enumerate(piece.arrangement.notes):
            asked = note.voice is not Voice.TUNE and note.onset >= second
            assert (number in piece.hidden) == asked


@every_tune
def test_every_triad_of_the_key_that_holds_the_notes_is_accepted(name: str) -> None:
    sheet = sheet_of(name, SheetKind.CHOOSE)
    model = model_of(sheet)
    rows = list(zip(sheet.items, slots_of(model), strict=True))
    for number, (item, slot) in enumerate(rows):
        accepted = {answer.text for answer in item.answers}
        inside = {
            note.pitch.pitch_class
            for note in model.tune.sounding
            if note.pitch and note.onset < slot.end and note.end > slot.onset
        }
        # A tune that ends on the tonic ends on no other chord (common practice).
        closed = number == len(rows) - 1 and slot.numeral in ("I", "i")
        home = {*slot.key.scale, slot.key.name_at(7, 1)}
        for offer in palette(slot.key, model.style.level) if inside else ():
            text = f"{offer.chord} ({offer.numeral})"
            plain = offer.chord.members[3:] == () and not offer.chord.inversion
            whole = inside <= set(offer.chord.pitch_classes)
            right = plain and whole and home.issuperset(offer.chord.members)
            assert text in accepted or not right or closed
            # One without any of the notes is never there, but for the model's own.
            model_own = offer.chord == slot.chord
            assert (
                text not in accepted
                or model_own
                or not inside.isdisjoint(offer.chord.pitch_classes)
            )
        assert all(answer.reason for answer in item.answers)


@every_tune
def test_an_accepted_chord_holds_the_tune_note_that_fills_its_slot(name: str) -> None:
    sheet = sheet_of(name, SheetKind.CHOOSE)
    model = model_of(sheet)
    for slot in slots_of(model):
        for chord in (slot.chord, *(other.chord for other in slot.alternatives)):
            assert chord is not None
            for note in model.tune.sounding:
                assert note.pitch is not None
                if note.onset <= slot.onset and note.end >= slot.end:
                    assert note.pitch.pitch_class in chord.pitch_classes


@every_tune
def test_a_progression_has_the_numerals_of_the_tune_and_close_shapes(
    name: str,
) -> None:
    sheet = sheet_of(name, SheetKind.VOICES)
    written, source = model_of(sheet), model_of(sheet_of(name, SheetKind.LABELS))
    numerals = [slot.numeral for slot in source.changes][:16]
    assert [slot.numeral for slot in written.slots] == numerals
    for slot in written.slots:
        assert slot.chord is not None
        notes = sounding(written, slot.onset)
        right = right_hand(notes)
        assert len(right) == 3
        assert right[-1].midi - right[0].midi <= 12
        assert {pitch.name for pitch in right} <= set(slot.chord.members)
        assert [n.pitch.name for n in notes if n.hand is Hand.LEFT] == [slot.chord.root]


@every_tune
def test_lines_in_the_key_join_a_held_note_to_itself(name: str) -> None:
    piece = sheet_of(name, SheetKind.VOICES).pieces[0]
    notes = piece.arrangement.notes
    for first, second in piece.ties:
        assert notes[first].pitch == notes[second].pitch
        assert notes[first].onset + notes[first].length == notes[second].onset


@every_tune
def test_keyboards_show_the_right_hand_with_the_tune_on_top(name: str) -> None:
    sheet = sheet_of(name, SheetKind.KEYBOARDS)
    model = model_of(sheet_of(name, SheetKind.LABELS))
    for diagram, item in zip(sheet.diagrams, sheet.items, strict=True):
        pitches = [pitch for pitch, _ in diagram.presses]
        assert pitches == right_hand(sounding(model, item.onset))
    # Every shape under a change of chord is there, if only once.
    shown = [[pitch for pitch, _ in diagram.presses] for diagram in sheet.diagrams]
    for slot in fitting(model):
        assert right_hand(sounding(model, slot.onset)) in shown
    assert [diagram.given for diagram in sheet.diagrams].count(True) == 1


@every_tune
def test_a_phrase_keeps_all_its_steps_in_every_key(name: str) -> None:
    first, *others = sheet_of(name, SheetKind.TRANSPOSE).pieces
    given = [note.pitch for note in first.arrangement.notes]
    assert not first.hidden
    assert len(others) == 3
    for piece in others:
        moved = [note.pitch for note in piece.arrangement.notes]
        pairs = list(zip(given, moved, strict=True))
        assert len({new.midi - old.midi for old, new in pairs}) == 1
        assert len({(new.letter - old.letter) % 7 for old, new in pairs}) == 1
        assert piece.hidden


@every_tune
@every_kind
def test_three_versions_differ_in_key_and_by_one_at_most_in_each_count(
    name: str, kind: SheetKind
) -> None:
    sheets = sheets_of(name, kind, 3)
    assert [sheet.version for sheet in sheets] == ["A", "B", "C"]
    counts = [counts_of(sheet) for sheet in sheets]
    for column in zip(*counts, strict=True):
        assert max(column) - min(column) <= 1
    if kind is not SheetKind.TRANSPOSE:
        assert len({sheet.key for sheet in sheets}) == 3
    assert len({sheet.pieces or sheet.diagrams for sheet in sheets}) == 3


def test_keys_that_a_teacher_names_are_taken_in_their_order() -> None:
    keys = (parse_key("F"), parse_key("Eb"))
    sheets = make_sheets(
        tune_of("morning_steps"), SheetOrder(SheetKind.LABELS, keys=keys), 2
    )
    assert tuple(sheet.key for sheet in sheets) == keys


def test_a_tune_moved_there_and_back_is_the_same_tune() -> None:
    tune = opening(tune_of("greensleeves"), 8)
    for key in related_keys(tune.key):
        back = transposed(transposed(tune, key), tune.key)
        names = [note.pitch.name for note in back.sounding if note.pitch]
        assert names == [note.pitch.name for note in tune.sounding if note.pitch]


def test_letters_and_figures_name_the_same_shapes_as_words() -> None:
    tune, told = tune_of("morning_steps"), []
    for labels in (Labels.WORDS, Labels.FIGURES, Labels.LETTERS):
        sheet = make_sheets(tune, SheetOrder(SheetKind.LABELS, labels=labels))[0]
        told.append([item.answers[0].text.split(" · ")[2] for item in sheet.items])
    table = {"root": ("5/3", "a"), "first": ("6/3", "b"), "second": ("6/4", "c")}
    assert [table[word] for word in told[0]] == list(zip(*told[1:], strict=True))


def test_a_higher_level_offers_more_chords_to_accept() -> None:
    tune = tune_of("old_hundredth")
    counts = []
    for level in (1, 3):
        sheet = make_sheets(tune, SheetOrder(SheetKind.CHOOSE, Style(level)))[0]
        counts.append(sum(len(item.answers) for item in sheet.items))
    assert counts[0] < counts[1]


def test_marks_of_a_chord_are_two_one_one_and_one() -> None:
    assert {i.marks for i in sheet_of("morning_steps", SheetKind.CHOOSE).items} == {
        0,
        5,
    }
    assert {i.marks for i in sheet_of("morning_steps", SheetKind.ACCOMPANY).items} == {
        0,
        4,
    }
    assert sheet_of("morning_steps", SheetKind.ACCOMPANY).marks == 28


def test_a_place_is_told_as_players_count_it() -> None:
    items = sheet_of("old_hundredth", SheetKind.CHOOSE).items
    assert str(items[0].place) == "bar 1, beat 1"
    assert items[1].onset - items[0].onset == Fraction(2)
    assert str(items[1].place) == "bar 1, beat 3"


@every_tune
def test_the_first_bar_of_every_key_is_worth_nothing(name: str) -> None:
    sheet = sheet_of(name, SheetKind.TRANSPOSE)
    for number in (1, 2, 3):
        own = [item for item in sheet.items if item.piece == number]
        assert [item.marks for item in own if item.place.bar <= 1][-1] == 0
        assert all(item.marks == 1 for item in own if item.place.bar > 1)


@every_tune
def test_no_two_keyboards_are_alike(name: str) -> None:
    diagrams = sheet_of(name, SheetKind.KEYBOARDS).diagrams
    shaded = {
        (tuple(str(pitch) for pitch, _ in each.presses), each.left) for each in diagrams
    }
    assert len(shaded) == len(diagrams) >= 4

"""Makers of exercises: one drill in one key, as a score whose tune is its top line.

Because an exercise is an arrangement like any other, it has the pages, files and sounds
of tunes. Voicings are the smoothest ones (see `harmonise.choice.free`); the left hand
plays roots from F2 to E3, and the lowest note of the first right hand lies between B3
and Bb4. Times are crotchets. Common practice.
"""

from collections.abc import Callable, Sequence
from fractions import Fraction
from typing import NamedTuple

from harmonise.choice.free import free_voicings, under_tune
from harmonise.errors import Place
from harmonise.form.splicing import in_order
from harmonise.left_hand.patterns import strokes
from harmonise.left_hand.strokes import room_of
from harmonise.notation.score.printed_labels import format_position
from harmonise.rules.promise import assert_tune_on_top
from harmonise.theory.arrangement import (
    PATTERNS,
    Arrangement,
    Hand,
    Labels,
    LeftHand,
    Position,
    RightHand,
    Slot,
    SoundingNote,
    Style,
    Voice,
)
from harmonise.theory.chord import Chord
from harmonise.theory.key import Key
from harmonise.theory.metre import TimeSignature
from harmonise.theory.numerals import NumberedChord, in_mode, parse_progression
from harmonise.theory.pitch import Pitch
from harmonise.theory.reach import with_fingers
from harmonise.theory.tune import KeyChange, Tempo, Tune, TuneNote, full_bars
from harmonise.theory.voicing import (
    TABLE_LOWEST,
    Voicing,
    format_pitches,
    over_bass,
    position_of,
    positions,
    spell,
    thin_right_hand,
)

DRILLED = tuple(pattern for pattern in PATTERNS if pattern.row.drilled)
"""The left-hand patterns that a drill may have."""


def metre_of(pattern: LeftHand) -> TimeSignature:
    """Return the metre in which a drill has a pattern: 4/4 wherever that suits."""
    common = TimeSignature(4, 4)
    return common if pattern.suits(common) else TimeSignature(*pattern.row.metres[0])


class DrillStep(NamedTuple):
    """One chord of a drill.

    Attributes:
        numbered: The chord and its numeral.
        voicing: How it is played, the right hand complete.
        length: Crotchets.
    """

    numbered: NumberedChord
    voicing: Voicing
    length: Fraction


class Exercise(NamedTuple):
    """One exercise in one key.

    Attributes:
        drill: Name of its drill, such as "D1"; "" for a progression of one's own.
        key: The key.
        label: What sets it apart from the others of its key: "from root position".
        score: Every note with its fingers, numerals and positions.
        hidden: Whether chord and position are what the pupil has to find.
    """

    drill: str
    key: Key
    label: str
    score: Arrangement
    hidden: bool = False


def lengths(count: int, beats: int, bar: Fraction) -> tuple[Fraction, ...]:
    """Return how long each chord of a drill lasts.

    Each lasts some beats and the last a whole bar. Where that would not begin on a bar
    line the first chord is held longer.

    Args:
        count: Number of chords.
        beats: Crotchets that a chord lasts.
        bar: Length of a bar.

    >>> [int(length) for length in lengths(5, 2, Fraction(4))]
    [2, 2, 2, 2, 4]
    >>> [int(length) for length in lengths(4, 2, Fraction(4))]
    [4, 2, 2, 4]
    """
    if count == 1:
        return (bar,)
    plain = Fraction(beats)
    over = (count - 1) * plain % bar
    first = plain + (bar - over if over else 0)
    return (first, *[plain] * (count - 2), bar)


def score(
    key: Key, steps: Sequence[DrillStep], pattern: LeftHand, tempo: Fraction
) -> Arrangement:
    """Return the chords of a drill as an arrangement with fingers.

    Args:
        key: The key.
        steps: The chords.
        pattern: What the left hand does.
        tempo: Crotchets a minute.
    """
    time = metre_of(pattern)
    notes, slots = [], []
    right: list[SoundingNote] = []
    left: list[SoundingNote] = []
    onset = Fraction(0)
    for step in steps:
        chord, numeral = step.numbered
        pitches, times = _right(step, pattern), (onset, step.length)
        notes.append(TuneNote(*times, pitches[-1]))
        right += [
            SoundingNote(*times, pitch, Hand.RIGHT, Voice.INNER)
            for pitch in pitches[:-1]
        ]
        right.append(SoundingNote(*times, pitches[-1], Hand.RIGHT, Voice.TUNE))
        if step.voicing.left:
            # The whole pattern is practised under each chord, as if it filled a bar.
            bar = TimeSignature(int(min(step.length, time.bar_length)), 4)
            room = room_of(chord, step.length, bar, pitches[0].midi)
            # The voicing has chosen the root's octave; the pattern is built upon it.
            room = room._replace(bass=step.voicing.left[0].midi)
            left += [
                SoundingNote(
                    onset + stroke.at, stroke.length, spell(chord, stroke.midi),
                    Hand.LEFT, Voice.BASS, stroke.finger,
                )
                for stroke in strokes(pattern, room)
            ]  # fmt: skip
        shape = position_of(chord, pitches) if len(pitches) > 2 else None
        slots.append(Slot(Place(0), *times, key, chord, numeral, shape))
        onset += step.length
    bars = full_bars(int(onset / time.bar_length), time)
    keys, tempos = (KeyChange(Fraction(0), key),), (Tempo(Fraction(0), tempo),)
    tune = Tune("", tuple(notes), bars, keys, tempos, (onset,))
    placed = tuple(slot._replace(place=tune.place(slot.onset)) for slot in slots)
    return Arrangement(tune, Style(fingering=True), placed, _fingered(right, left))


def _right(step: DrillStep, pattern: LeftHand) -> tuple[Pitch, ...]:
    """Return the right hand: two notes only under a left hand that doubles notes."""
    # Under a left hand that plays the chord as well, a full shape would sound thick.
    if pattern.row.right is RightHand.FULL:
        return step.voicing.right
    return thin_right_hand(step.numbered.chord, step.voicing.top)


def _fingered(
    right: list[SoundingNote], left: list[SoundingNote]
) -> tuple[SoundingNote, ...]:
    """Return all notes in order, with fingers; a pattern's own fingers stay."""
    # A pattern that repeats is learnt with one fingering, whatever the chord.
    if any(note.finger for note in left):
        return in_order((*with_fingers(tuple(right)), *left))
    return in_order(with_fingers(in_order((*right, *left))))


STARTS = (Position.ROOT, Position.FIRST, Position.SECOND)
_STRIDE = 4
"""Prime to nine: steps of four pass every shape once, and never the same chord twice
running."""


class Question(NamedTuple):
    """One shape and what is to be said of it.

    Attributes:
        key: The key.
        notes: The right hand, from the lowest up.
        numbered: The answer: chord and numeral.
        position: The answer: shape of the right hand.
    """

    key: Key
    notes: tuple[Pitch, ...]
    numbered: NumberedChord
    position: Position

    @property
    def question(self) -> str:
        """What is asked: "In C major: E4 G4 C5"."""
        return f"In {self.key}: {format_pitches(self.notes)}"

    @property
    def answer(self) -> str:
        """What is right: "C (I), first inversion, ⁶₃"."""
        chord, numeral = self.numbered
        figures = format_position(self.position, Labels.FIGURES, len(chord.members))
        return f"{chord} ({numeral}), {self.position.value}, {figures}"


def questions(key: Key) -> tuple[Question, ...]:
    """Return the nine shapes of the primary triads in an order that tells nothing.

    The order differs from key to key and is the same in every run.

    >>> from harmonise.theory.key import parse_key
    >>> first = questions(parse_key("C"))[0]
    >>> first.question, first.answer
    ('In C major: C4 E4 G4', 'C (I), root position, ⁵₃')
    """
    chords = parse_progression(in_mode("I IV V", key.mode), key)
    every = [
        Question(key, notes, numbered, position)
        for numbered in chords
        for notes, position in zip(positions(numbered.chord), STARTS, strict=True)
    ]
    count = len(every)
    # Neighbouring keys must not begin alike, or pupils learn the order by heart.
    first = 2 * key.fifths
    return tuple(every[(first + _STRIDE * at) % count] for at in range(count))


START_TEMPO = Fraction(60)
"""Crotchets a minute."""

_HIGHEST = 80
"""Ab5: highest note of the drill I IV I V I in twelve keys; higher ones go down."""
_LOW_SHAPES = 53
"""F3: one chord in three positions needs more room, so it begins lower."""


class DrillWish(NamedTuple):
    """What a user may choose of a drill.

    Attributes:
        starts: Shapes of the right hand that exercises start from; () for the drill's
            own choice.
        pattern: What the left hand does; None for held roots.
        beats: Crotchets that a chord lasts; the last one lasts a bar.
        tempo: Crotchets a minute.
    """

    starts: tuple[Position, ...] = ()
    pattern: LeftHand | None = None
    beats: int = 2
    tempo: Fraction = START_TEMPO


USUAL = DrillWish()
Maker = Callable[[Key, DrillWish], list[Exercise]]


def row(numerals: str) -> Maker:
    """Return the maker of one or more progressions, with "/" between them."""
    rows = numerals.split(" / ")

    def make(key: Key, wish: DrillWish) -> list[Exercise]:
        exercises = []
        for single in rows:
            chords = parse_progression(in_mode(single, key.mode), key)
            made = from_starts(chords, key, wish)
            if len(rows) > 1:
                words = "–".join(numbered.numeral for numbered in chords)
                made = [one._replace(label=f"{words}, {one.label}") for one in made]
            exercises += made
        return exercises

    return make


def from_starts(
    numbered: Sequence[NumberedChord], key: Key, wish: DrillWish
) -> list[Exercise]:
    """Return a progression from every shape that it is to start from."""
    chords = [each.chord for each in numbered]
    return [
        _exercise(key, f"from {start.value}", numbered, smoothest(chords, start), wish)
        for start in wish.starts or STARTS
    ]


def smoothest(chords: Sequence[Chord], start: Position) -> tuple[Voicing, ...]:
    """Return the voicings of a drill from a shape of the right hand.

    Args:
        chords: The chords.
        start: Shape of the first one.
    """
    shape = STARTS.index(start)
    high, low = (
        free_voicings(chords, over_bass(chords[0], positions(chords[0], lowest)[shape]))
        for lowest in (TABLE_LOWEST, TABLE_LOWEST - 12)
    )
    return high if max(voicing.top.midi for voicing in high) <= _HIGHEST else low


def _exercise(
    key: Key,
    label: str,
    chords: Sequence[NumberedChord],
    voicings: Sequence[Voicing],
    wish: DrillWish,
) -> Exercise:
    pattern = wish.pattern or LeftHand.HELD
    bar = metre_of(pattern).bar_length
    beats = min(wish.beats, int(bar)) if bar == 4 else int(bar)
    times = lengths(len(chords), beats, bar)
    steps = list(map(DrillStep, chords, voicings, times))
    music = score(key, steps, pattern, wish.tempo)
    assert_tune_on_top(music)
    return Exercise("", key, label, music)


def three_positions(key: Key, wish: DrillWish) -> list[Exercise]:
    """Return each primary chord in three positions, up and down again."""
    exercises = []
    for numbered in parse_progression(in_mode("I IV V", key.mode), key):
        root = positions(numbered.chord, _LOW_SHAPES)[0]
        first = (*root[1:], _octave_up(root[0]))
        second = (*first[1:], _octave_up(first[0]))
        row = [over_bass(numbered.chord, r) for r in (root, first, second, first, root)]
        label = f"on {numbered.numeral}, up and down"
        exercises.append(_exercise(key, label, [numbered] * len(row), row, wish))
    return exercises


def _octave_up(pitch: Pitch) -> Pitch:
    return pitch._replace(octave=pitch.octave + 1)


def scale_on_top(key: Key, wish: DrillWish) -> list[Exercise]:
    """Return the scale from 1 to 8 as tune, the left hand falling from IV to V."""
    numbered = parse_progression("I V I IV I IV V I", key)
    tonic = 60 + key.tonic.pitch_class
    tops = [tonic + rise for rise in (*key.scale_semitones, 12)]
    voicings = under_tune([each.chord for each in numbered], tops)
    return [_exercise(key, "scale on top", numbered, voicings, wish)]


def same_note(key: Key, wish: DrillWish) -> list[Exercise]:
    """Return two chords under one tune note: I and IV under 1, I and V under 5."""
    exercises = []
    for degree, numerals, start in ((1, "I IV I", 1), (5, "I V I", 0)):
        numbered = parse_progression(in_mode(numerals, key.mode), key)
        chords = [each.chord for each in numbered]
        top = positions(chords[0])[start][-1].midi
        # The top stays, so no parallels can drive the left hand out of its window.
        voicings = under_tune(chords, [top] * len(chords), strict=False)
        label = f"{degree} on top"
        exercises.append(_exercise(key, label, numbered, voicings, wish))
    return exercises


def all_patterns(key: Key, wish: DrillWish) -> list[Exercise]:
    """Return I IV I V I with every pattern of the left hand, or with the chosen one."""
    starts = wish.starts or (Position.ROOT,)
    chosen = (wish.pattern,) if wish.pattern else DRILLED
    exercises = []
    for pattern in chosen:
        made = row("I IV I V I")(key, wish._replace(starts=starts, pattern=pattern))
        title = pattern.row.title
        exercises += [one._replace(label=f"{title}, {one.label}") for one in made]
    return exercises


def name_it(key: Key, wish: DrillWish) -> list[Exercise]:
    """Return nine shapes, a bar each, to be named."""
    asked = questions(key)
    chords = [question.numbered for question in asked]
    voicings = [Voicing((), question.notes) for question in asked]
    wish = wish._replace(beats=4, pattern=None)
    made = _exercise(key, "name each shape", chords, voicings, wish)
    return [made._replace(hidden=True)]

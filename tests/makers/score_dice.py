"""Random arrangements, the same for the same seed, that no musician would write.

They mix metres, tuplets, pickups, part bars, endings, ties over bar lines, words, grace
notes, slurs and fermatas with block, held and wild inner notes.
"""

from fractions import Fraction
from random import Random

from harmonise.theory.arrangement import (
    Arrangement,
    Hand,
    Slot,
    SoundingNote,
    Style,
    Voice,
)
from harmonise.theory.chord import Chord, Inversion, Quality
from harmonise.theory.key import Key, Mode, key_of_signature
from harmonise.theory.metre import TimeSignature
from harmonise.theory.pitch import Pitch, PitchName
from harmonise.theory.tune import Bar, Grace, KeyChange, Syllable, Tempo, Tune, TuneNote
from makers.scores import make_slot

_TIMES = (
    *(TimeSignature(2, 4), TimeSignature(3, 4), TimeSignature(4, 4)),
    *(TimeSignature(2, 2), TimeSignature(3, 2), TimeSignature(4, 2)),
    *(TimeSignature(3, 8), TimeSignature(4, 8), TimeSignature(6, 8)),
    *(TimeSignature(9, 8), TimeSignature(12, 8), TimeSignature(6, 4)),
    *(TimeSignature(5, 4), TimeSignature(5, 4, (2, 3)), TimeSignature(7, 8)),
    *(TimeSignature(7, 8, (3, 2, 2)), TimeSignature(5, 8), TimeSignature(3, 16)),
    *(TimeSignature(8, 8, (3, 3, 2)), TimeSignature(1, 4), TimeSignature(8, 4)),
)
_PLAIN = tuple(map(Fraction, (0.25, 0.5, 0.75, 1, 1, 1, 1.5, 2, 3, 4, 1.75, 2.5)))
_TUPLETS = ((3, 1), (3, 2), (3, "1/2"), (5, 1), (6, 1), (7, 2), (9, 2), (5, "3/2"))
_HIGH = (35, 45)
_LOW = (24, 33)


def random_arrangement(seed: int) -> Arrangement:
    """Return the arrangement that a seed throws."""
    dice = Random(seed)  # noqa: S311 - dice need not be secret
    bars = _bars(dice)
    end = bars[-1].end
    notes = _tune_notes(dice, end)
    keys = [KeyChange(Fraction(0), _key(dice))]
    if dice.random() < 0.3:
        keys.append(KeyChange(dice.choice(bars).start, _key(dice)))
    if dice.random() < 0.1:
        keys.append(KeyChange(dice.choice(notes).onset, _key(dice)))
    keys.sort(key=lambda change: change.onset)
    tempo = Tempo(Fraction(0), Fraction(dice.randint(40, 200)), Fraction(3, 2), "A & B")
    tune = Tune(
        title=dice.choice(("", "A <tune> & more", "Déjà vu")),
        notes=tuple(notes),
        bars=tuple(bars),
        keys=tuple(keys),
        tempos=(tempo,) if dice.random() < 0.5 else (),
        phrases=tuple(sorted({dice.choice(notes).end for _ in range(4)})),
        origin=dice.choice(("", "By dice")),
        end_text=((end, "Fine"),) if dice.random() < 0.2 else (),
    )
    style = Style(numerals=dice.random() < 0.7, fingering=dice.random() < 0.5)
    slots = _slots(dice, tune)
    sounding = [*_sung(tune), *_inner(dice, tune), *_bass(dice, end)]
    sounding.sort(key=lambda note: (note.onset, note.pitch.midi))
    return Arrangement(tune, style, tuple(slots), tuple(sounding))


def _key(dice: Random) -> Key:
    return key_of_signature(dice.randint(-7, 7), dice.choice(list(Mode)))


def _bars(dice: Random) -> list[Bar]:
    """Return bars with a pickup, a split bar, a new metre, repeats and endings."""
    time = dice.choice(_TIMES)
    bars: list[Bar] = []
    start = Fraction(0)
    if dice.random() < 0.4:
        length = dice.choice((time.unit, time.unit / 3, time.unit / 2))
        bars.append(Bar(0, start, length, time, offset=time.bar_length - length))
        start = length
    for number in range(1, dice.randint(2, 7)):
        if dice.random() < 0.1:
            time = dice.choice(_TIMES)
        lengths = [time.bar_length]
        if dice.random() < 0.05:
            lengths[0] += dice.choice((1, Fraction(1, 2), Fraction(1, 3)))
        if dice.random() < 0.1 and time.beats > 1:
            lengths = [time.unit, time.bar_length - time.unit]
        offset = Fraction(0)
        for length in lengths:
            bars.append(Bar(number, start, length, time, offset=offset))
            start, offset = start + length, offset + length
    return _fenced(dice, bars)


def _fenced(dice: Random, bars: list[Bar]) -> list[Bar]:
    if dice.random() < 0.4 and len(bars) > 3:
        bars[-2] = bars[-2]._replace(ending=(1,), repeat_end=2)
        bars[-1] = bars[-1]._replace(ending=(2,))
        bars[1] = bars[1]._replace(repeat_start=True)
    elif dice.random() < 0.5:
        bars[-1] = bars[-1]._replace(repeat_end=dice.randint(1, 3))
        bars[0] = bars[0]._replace(double=True, section=dice.choice(("A", "Chorus")))
    if dice.random() < 0.2:
        last = bars[-1]
        bars[-1] = last._replace(length=last.length * Fraction(dice.randint(1, 3), 3))
    return bars


def _lengths(dice: Random, end: Fraction) -> list[Fraction]:
    """Return lengths that add up to the end: plain ones, tuplets, and wild ones."""
    lengths: list[Fraction] = []
    left = end
    wild = dice.random() < 0.3
    while left > 0:
        throw = dice.random()
        if wild and throw < 0.3:
            own = [Fraction(dice.randint(1, 40), dice.choice(_WILD))]
        elif throw < 0.5:
            number, span = dice.choice(_TUPLETS)
            own = [Fraction(span) / number] * number
            while len(own) > 1 and dice.random() < 0.5:
                own[:2] = [own[0] + own[1]]
            dice.shuffle(own)
        else:
            own = [dice.choice(_PLAIN)]
        for length in own:
            if left > 0:
                lengths.append(min(length, left))
                left -= lengths[-1]
    return lengths


_WILD = (1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 14, 16, 18, 24, 28, 32, 36, 40, 48, 72, 96)


def _pitch(dice: Random, steps: tuple[int, int]) -> Pitch:
    octave, letter = divmod(dice.randint(*steps), 7)
    return Pitch(letter, dice.choice((-1, 0, 0, 0, 1, 1)), octave)


def _tune_notes(dice: Random, end: Fraction) -> list[TuneNote]:
    notes: list[TuneNote] = []
    onset = Fraction(0)
    for length in _lengths(dice, end):
        note = TuneNote(onset, length, None)
        if dice.random() < 0.85:
            note = _decorated(dice, note._replace(pitch=_pitch(dice, _HIGH)))
        notes.append(note)
        onset += length
    return notes


def _decorated(dice: Random, note: TuneNote) -> TuneNote:
    verses: list[Syllable | None] = []
    for _ in range(2):
        words = Syllable(dice.choice(("la", "d'œil", "<b>")), dice.random() < 0.3)
        verses.append(words if dice.random() < 0.7 else None)
    value = Fraction(1, dice.choice((2, 4)))
    graces = tuple(
        Grace(_pitch(dice, _HIGH), dice.random() < 0.5, value)
        for _ in range(dice.choice((0, 0, 0, 0, 0, 1, 2)))
    )
    return note._replace(
        syllables=tuple(verses),
        graces=graces,
        fermata=dice.random() < 0.05,
        slur_starts=int(dice.random() < 0.2),
        slur_ends=int(dice.random() < 0.2),
    )


def _sung(tune: Tune) -> list[SoundingNote]:
    return [
        SoundingNote(n.onset, n.length, n.pitch, Hand.RIGHT, Voice.TUNE, 5)
        for n in tune.notes
        if n.pitch
    ]


def _inner(dice: Random, tune: Tune) -> list[SoundingNote]:
    """Return inner notes: with the tune, held, or in a rhythm of their own."""
    texture = dice.choice(("none", "block", "own", "mixed", "mixed"))
    notes: list[SoundingNote] = []
    if texture in ("block", "mixed"):
        rate = 1 if texture == "block" else 0.5
        places = [(n.onset, n.length) for n in tune.sounding if dice.random() < rate]
    elif texture == "own":
        places = _places(dice, tune.end)
    else:
        return []
    for onset, length in places:
        for pitch in _cluster(dice):
            held = length
            if texture == "own" and dice.random() < 0.2:
                held = length / 2
            notes.append(_made(onset, held, pitch, Hand.RIGHT))
    return notes


def _cluster(dice: Random) -> list[Pitch]:
    """Return one to three pitches on places of their own; two on one need two heads."""
    thrown = [_pitch(dice, _LOW) for _ in range(dice.randint(1, 3))]
    return list({pitch.staff_step: pitch for pitch in thrown}.values())


def _bass(dice: Random, end: Fraction) -> list[SoundingNote]:
    return [
        _made(onset, length, _pitch(dice, (15, 22)), Hand.LEFT)
        for onset, length in _places(dice, end)
    ]


def _made(onset: Fraction, length: Fraction, pitch: Pitch, hand: Hand) -> SoundingNote:
    voice = Voice.INNER if hand is Hand.RIGHT else Voice.BASS
    return SoundingNote(onset, length, pitch, hand, voice, 1)


def _places(dice: Random, end: Fraction) -> list[tuple[Fraction, Fraction]]:
    """Return places and lengths in order, some left silent."""
    found = []
    onset = Fraction(0)
    for length in _lengths(dice, end):
        if dice.random() < 0.8:
            found.append((onset, length))
        onset += length
    return found


def _slots(dice: Random, tune: Tune) -> list[Slot]:
    slots = []
    onset = Fraction(0)
    while onset < tune.end:
        length = min(
            dice.choice((Fraction(1), Fraction(2), Fraction(3, 2))), tune.end - onset
        )
        chord = None
        if dice.random() < 0.9:
            root = PitchName(dice.randint(0, 6), dice.choice((-1, 0, 1)))
            inversion = dice.choice((0, 0, 0, 1, 2))
            quality = dice.choice([q for q in Quality if q is not Quality.POWER])
            chord = Chord(root, quality, Inversion(inversion))
        slots.append(make_slot(tune, onset, length, chord))
        onset += length
    return slots

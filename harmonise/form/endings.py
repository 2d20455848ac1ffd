"""The end: slowing down into a held last chord, and the plagal Amen.

The Amen is I, IV, I while the tune stays on the keynote (common practice): "A-" is sung
over the first two chords and "men" over the last. It begins on a bar line of its own
after the verse's double bar.
"""

from fractions import Fraction

from harmonise.form.seams import Held, held_chords, last_pitch
from harmonise.form.splicing import with_bars
from harmonise.theory.arrangement import Arrangement, HarmonicRhythm
from harmonise.theory.chord import Chord, Quality
from harmonise.theory.key import Key
from harmonise.theory.metre import TimeSignature, half_bar_starts
from harmonise.theory.numerals import diatonic_triad
from harmonise.theory.pitch import Pitch
from harmonise.theory.tune import Syllable, Tempo, TuneNote, full_bars

TITLE = "Amen"
SLOWER = "rit."
_SLOWER_BY = Fraction(3, 4)
_USUAL_TEMPO = Fraction(96)
"""Crotchets a minute where the tune does not say."""
_LOWEST, _HIGHEST = 60, 76
"""C4 and E5: where the keynote of the Amen lies."""


def tail_start(music: Arrangement, *, slow: bool) -> Fraction:
    """Return where the end of a verse begins that may differ from time to time.

    It is a bar line that no tune note and no chord crosses: that of the bar in which
    the last note begins or, to slow down in, of the bar before where it has that note
    alone.
    """
    tune = music.tune
    final = tune.sounding[-1].onset
    bars = [bar.start for bar in tune.bars if bar.start <= final]
    # Slowing down needs at least two notes to be heard.
    alone = len([note for note in tune.sounding if note.end > bars[-1]]) < 2
    last = len(bars) - (2 if slow and alone and len(bars) > 1 else 1)
    # A tie or a held chord cannot be taken over into another ending.
    crossing = [(note.onset, note.end) for note in tune.sounding]
    crossing += [(slot.onset, slot.end) for slot in music.slots]
    inside = [
        start
        for start in bars[: last + 1]
        if not any(onset < start < end for onset, end in crossing)
    ]
    return inside[-1]


def slowed(music: Arrangement, start: Fraction) -> Arrangement:
    """Return music that slows down from a place on and holds its last chord.

    Args:
        music: The music.
        start: Where it begins to slow down, in crotchets.
    """
    tune = music.tune
    before = [mark for mark in tune.tempos if mark.onset <= start]
    mark = before[-1] if before else Tempo(Fraction(0), _USUAL_TEMPO)
    slower = Fraction(max(1, round(mark.per_minute * _SLOWER_BY)))
    # The page says "rit."; the number behind it is for those who listen.
    rit = mark._replace(onset=start, per_minute=slower, words=SLOWER)
    earlier = (before for before in tune.tempos if before.onset < start)
    last = tune.sounding[-1]
    notes = tuple(
        note._replace(fermata=True) if note is last else note for note in tune.notes
    )
    return music._replace(tune=tune._replace(notes=notes, tempos=(*earlier, rit)))


def amen(
    like: Arrangement, *, major: bool = False, fermata: bool = False
) -> Arrangement:
    """Return the Amen after an arrangement, in the key in which that ends.

    Args:
        like: What it follows.
        major: Whether its last chord is major in a minor key too.
        fermata: Whether its last chord is held.
    """
    tune = like.tune
    key, time = tune.key_at(tune.end), tune.bars[-1].time
    top = keynote_near(key, last_pitch(tune))
    one, four = diatonic_triad(key, 1), diatonic_triad(key, 4)
    last = Chord(one.root, Quality.MAJOR) if major else one
    first, second = _halves(time, like.style.harmonic_rhythm)
    whole = first + second
    bars = full_bars(int(whole / time.bar_length) + 1, time)
    notes = (
        TuneNote(Fraction(0), whole, top, (Syllable("A", joins=True),)),
        TuneNote(whole, time.bar_length, top, (Syllable("men."),), fermata=fermata),
    )
    chords = (Held(one, first), Held(four, second), Held(last, time.bar_length))
    found = held_chords(like, key, bars, notes, chords)
    return with_bars(found, [bars[0]._replace(section=TITLE), *bars[1:]])


def keynote_near(key: Key, pitch: Pitch) -> Pitch:
    """Return the keynote from C4 to E5 that lies nearest a pitch.

    >>> from harmonise.theory.key import parse_key
    >>> from harmonise.theory.pitch import parse_pitch
    >>> str(keynote_near(parse_key("G"), parse_pitch("B4")))
    'G4'
    """
    tonic = int(key.tonic.pitch_class)
    places = [midi for midi in range(_LOWEST, _HIGHEST + 1) if midi % 12 == tonic]
    return key.tonic.at(min(places, key=lambda midi: abs(midi - pitch.midi)))


def _halves(time: TimeSignature, rhythm: HarmonicRhythm) -> tuple[Fraction, Fraction]:
    """Return how long the first two chords last: a bar together, or a bar each."""
    places = half_bar_starts(time)
    # Triple time has no half-bar; hymns change their chord by the beat.
    if rhythm is HarmonicRhythm.BEAT and len(places) == 1:
        places = time.beat_starts
    if rhythm is HarmonicRhythm.BAR or len(places) == 1:
        return time.bar_length, time.bar_length
    return places[1], time.bar_length - places[1]

"""The introduction: the last line, the last two bars, or a vamp on the tonic.

It ends on the tonic, so that the singers have their note in the last chord or have
just heard it, and its last bar is shortened by the pickup of the verse (common
practice). A tune that does not end on its tonic gets the vamp.
"""

from collections.abc import Callable
from fractions import Fraction

from harmonise.form.plan import Introduction
from harmonise.form.seams import (
    Seam,
    begins_at,
    closed_up,
    ends_at,
    first_pitch,
    near_member,
)
from harmonise.form.splicing import alone_until, cut, unfolded
from harmonise.rules.chords import is_tonic
from harmonise.theory.arrangement import Arrangement, HarmonicRhythm, Style
from harmonise.theory.chord import Chord
from harmonise.theory.key import Mode
from harmonise.theory.numerals import diatonic_triad, parse_numeral
from harmonise.theory.pitch import Pitch
from harmonise.theory.tune import ChordAt, Tune, TuneNote, full_bars

Arranged = Callable[[Tune, Style], Arrangement]
"""Makes an arrangement of a tune in a style."""

TITLE = "Introduction"
_FEWEST, _MOST = 2, 8
"""Bars of a last line; a shorter or longer one gives way to the last four bars."""
_USUAL = 4
_BORROWED = (Mode.MAJOR, Mode.MINOR)


def introduction(
    music: Arrangement, kind: Introduction, arranged: Arranged
) -> Arrangement:
    """Return the introduction to a verse; its bars have the number 0 and no words.

    Args:
        music: The verse.
        kind: Which introduction, not "none".
        arranged: Makes an arrangement.
    """
    # A line that does not serve gives way to the vamp, which always does.
    line = None if kind is Introduction.VAMP else _from_end(music, kind)
    opening = line or _vamp(music, arranged)
    bars = [
        bar._replace(number=0, section="", double=False) for bar in opening.tune.bars
    ]
    bars[0] = bars[0]._replace(section=TITLE)
    bars[-1] = bars[-1]._replace(double=True)
    notes = tuple(note._replace(syllables=()) for note in opening.tune.notes)
    tune = opening.tune._replace(notes=notes, bars=tuple(bars), verses=0)
    # A pickup goes without accompaniment; what is longer than a beat is too long to be
    # left without a chord.
    is_pickup = bars[0].offset and bars[0].length <= bars[0].time.beat
    wordless = opening._replace(tune=tune)
    return alone_until(wordless, bars[0].end) if is_pickup else wordless


def falls_back(music: Arrangement, kind: Introduction) -> bool:
    """Return whether the end of a tune cannot serve, so that a vamp is played."""
    asked = kind in (Introduction.LAST_LINE, Introduction.TWO_BARS)
    return asked and _from_end(music, kind) is None


def _from_end(music: Arrangement, kind: Introduction) -> Arrangement | None:
    """Return the end of a tune as an introduction; None if it does not serve.

    It has to end on the tonic and to give the singers their first note.
    """
    # The last line is the one that is heard last, whatever a "D.C." makes of the page.
    flat = unfolded(music)
    if not ends_on_tonic(flat):
        return None
    start = last_line(flat.tune)
    if kind is Introduction.TWO_BARS:
        start = _last_bars(flat.tune, 2)
    fitted = _fitted(cut(flat, start, flat.tune.end), music.tune)
    return fitted if _gives(fitted, first_pitch(music.tune)) else None


def _gives(music: Arrangement, pitch: Pitch) -> bool:
    """Return whether a pitch is in the last chord or was heard in the last two bars."""
    chord, end = music.slots[-1].chord, music.tune.end
    since = end - 2 * music.tune.bars[-1].time.bar_length
    heard = {
        note.pitch.pitch_class
        for note in music.tune.notes
        if note.pitch is not None and note.onset >= since
    }
    if chord is not None:
        heard |= set(chord.pitch_classes)
    return pitch.pitch_class in heard


def ends_on_tonic(music: Arrangement) -> bool:
    """Return whether the last chord is the tonic and has the last tune note."""
    last, note = music.slots[-1], music.tune.sounding[-1]
    if last.chord is None or note.pitch is None:
        return False
    return is_tonic(last.chord, last.key) and note.pitch.name in last.chord.members


def last_line(tune: Tune) -> Fraction:
    """Return where the last line of a tune begins, in crotchets.

    Where no line ends before it, or the last one has fewer than two bars or more than
    eight, the last four bars count as a line, with the pickup that belongs to them.
    """
    whole = tune.bars[-1].time.bar_length
    before = [at for at in tune.phrases if at < tune.end]
    start = max(before, default=Fraction(0))
    if before and _FEWEST * whole <= tune.end - start <= _MOST * whole:
        return start
    # Four bars counted from the bar line would begin in the middle of a phrase.
    pickup = -begins_at(tune) % whole
    begin = _last_bars(tune, _USUAL) - pickup
    return max(begin, Fraction(0))


def _last_bars(tune: Tune, count: int) -> Fraction:
    """Return where the last bars begin."""
    starts = [bar.start for bar in tune.bars if not bar.offset]
    return starts[-count] if len(starts) >= count else Fraction(0)


def _fitted(music: Arrangement, verse: Tune) -> Arrangement:
    """Return an introduction that makes up full bars with the pickup of the verse."""
    tune = music.tune
    surplus = (ends_at(tune) - begins_at(verse)) % tune.bars[-1].time.bar_length
    end = tune.end - surplus
    # The last note loses what the pickup takes, unless nothing would be left of it;
    # then the chord is held on instead.
    if surplus and tune.bars[-1].length > surplus and tune.sounding[-1].onset < end:
        return cut(music, Fraction(0), end)
    return closed_up(music, Seam(begins_at(verse)))


def _vamp(music: Arrangement, arranged: Arranged) -> Arrangement:
    """Return two bars of the left hand's pattern under the singers' first note.

    A third bar is arranged and left out again, as a last chord is held.
    """
    tune = music.tune
    bar, first = tune.bars[0], first_pitch(tune)
    whole = bar.time.bar_length
    tonic = diatonic_triad(tune.key, 1)
    chords = (tonic, _last_of_vamp(music, tonic, first), tonic)
    bars = full_bars(len(chords), bar.time)
    locks = tuple(
        ChordAt(bar.start, bar.end, chord)
        for bar, chord in zip(bars, chords, strict=True)
    )
    notes = [
        TuneNote(lock.onset, whole, near_member(lock.chord, first)) for lock in locks
    ]
    # The pickup of the verse takes its beats from the second bar.
    end = whole + (begins_at(tune) or whole)
    cue = end - bar.time.beat
    if chords[1].member_of(first.pitch_class) is None and cue > whole:
        # No chord of the vamp has the singers' first note, so it is played to them.
        notes[1] = notes[1]._replace(length=cue - whole)
        notes.insert(2, TuneNote(cue, 2 * whole - cue, first))
    tempos = tuple(mark for mark in tune.tempos if not mark.onset)
    style = music.style._replace(
        locks=locks, sections=(), strict=False, harmonic_rhythm=HarmonicRhythm.BAR
    )
    keys, phrases = tune.keys[:1], (bars[-1].end,)
    vamp = Tune(tune.title, tuple(notes), bars, keys, tempos, phrases)
    arrangement = arranged(vamp, style)
    # These chords are ours: the page must not say that the user locked them.
    slots = tuple(slot._replace(locked=False) for slot in arrangement.slots)
    return cut(arrangement._replace(slots=slots), Fraction(0), end)


def _last_of_vamp(music: Arrangement, tonic: Chord, first: Pitch) -> Chord:
    """Return the tonic, or the dominant where only that has the singers' first note.

    The dominant leads to the tonic, so the verse has to begin with it.
    """
    key = music.tune.key
    begins = next((slot for slot in music.slots if slot.chord), None)
    five = parse_numeral("V", key)
    fits = tonic.member_of(first.pitch_class) is None
    if fits and key.mode in _BORROWED and begins and begins.chord == tonic:
        return five if five.member_of(first.pitch_class) is not None else tonic
    return tonic

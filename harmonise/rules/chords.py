"""Rules of the chords: where they may change, how they begin and end, what they hold.

Examples in the docstrings are written as in `hands`; `!` marks a chord that the user
locked, which excuses it. What the chooser itself may have to break carries the remark
that its user reads. Source: common practice of elementary harmony.
"""

from collections.abc import Iterator
from fractions import Fraction

from harmonise.errors import Remark
from harmonise.rules.score_view import Found, Score, Span
from harmonise.theory.alike import alike_bars
from harmonise.theory.arrangement import HarmonicRhythm
from harmonise.theory.chord import Chord, Inversion
from harmonise.theory.key import Key, Mode
from harmonise.theory.metre import half_bar_starts
from harmonise.theory.numerals import diatonic_triad
from harmonise.theory.phrases import closing_beats

_LEAST_WEIGHT = {
    HarmonicRhythm.AUTO: 1,
    HarmonicRhythm.BAR: 3,
    HarmonicRhythm.HALF_BAR: 2,
    HarmonicRhythm.BEAT: 1,
}
"""Metric weight that a place needs for the chord to change there."""


def is_tonic(chord: Chord, key: Key, *, inverted: bool = False) -> bool:
    """Return whether a chord is the tonic triad; a minor key has its major one too.

    Args:
        chord: The chord.
        key: Key in force.
        inverted: Whether another member than the root may be in the bass.
    """
    upright = chord._replace(inversion=Inversion.ROOT_POSITION)
    if upright not in (diatonic_triad(key, 1), Chord(key.tonic)):
        return False
    return inverted or chord == upright


def metric_weight(score: Score, onset: Fraction) -> int:
    """Return the metric weight, 0 to 3, of a place in its full bar."""
    bar = score.arrangement.tune.bar_at(onset)
    return bar.time.weight(onset - bar.start + bar.offset)


def begins_on_tonic(score: Score) -> Iterator[Found]:
    """Yield a first full bar that does not begin on the tonic chord.

    Excused if the tune note there is not in the tonic chord.

    Good: C major: C | E5; G | D5
    Fault: C major: F | C5; C | C5
    """
    tune = score.arrangement.tune
    full = next((bar.start for bar in tune.bars if bar.number > 0), Fraction(0))
    for slot, chord, notes in score.sung:
        first = next((note for note in notes if note.end > full), None)
        if first is None or slot.end <= full:
            continue
        tonic = diatonic_triad(slot.key, 1)
        # A tune that begins on another note than those of I may begin on V or vi.
        inside = first.pitch.pitch_class in tonic.pitch_classes
        if inside and not is_tonic(chord, slot.key, inverted=True):
            sentence = f"the tune begins on {chord} ({slot.numeral}), not on I."
            yield Found(
                slot.onset,
                f"the first full bar begins on {chord}, not on {tonic}.",
                f"Begin on {tonic}: {first.pitch} is in it.",
                slot.locked,
                Remark("H01", sentence, slot.place),
            )
        return


def ends_on_tonic(score: Score) -> Iterator[Found]:
    """Yield a last chord that is not the tonic.

    Good: C major: G | D5; C | C5
    Fault: C major: C | E5; G | D5
    """
    if not score.spans:
        return
    last = score.spans[-1]
    slot = last.slots[-1]
    if is_tonic(last.chord, slot.key):
        return
    tonic = diatonic_triad(slot.key, 1)
    yield Found(
        slot.onset,
        f"the last chord is {last.chord}, not {tonic}.",
        f"End on {tonic}.",
        slot.locked,
        _open_end(score, last),
    )


def _open_end(score: Score, last: Span) -> Remark:
    """Return the remark on an end off the tonic: perhaps the key is another."""
    sounding = score.arrangement.tune.sounding
    note = sounding[-1].pitch if sounding else None
    tonic = last.key.tonic
    ask = f"Is {tonic} really the keynote, or does the tune go round again?"
    if is_tonic(last.chord, last.key, inverted=True):
        ask = f"Lock {diatonic_triad(last.key, 1)} to have the root in the bass."
    elif note and last.key.degree(note.name) == (5, 0):
        home = diatonic_triad(last.key, 1)
        ask = f"So it can go round again; lock {home} to close."
    ends = f"the tune ends on {note.name if note else ''} over {last.chord}"
    return Remark("H02", f"{ends}, not on {tonic}.", last.slots[0].place, ask)


def one_chord_under_last_note(score: Score) -> Iterator[Found]:
    """Yield chords that begin after the onset of the last tune note.

    Good: C major: G | D5; C | C5
    Fault: C major: F | C5; C | _
    """
    sounding = score.arrangement.tune.sounding
    for span in score.spans[1:]:
        if sounding and span.onset > sounding[-1].onset and not span.locked:
            yield Found(
                span.onset,
                f"{span.chord} begins under the last note, {sounding[-1].pitch}.",
                "Keep one chord under the last note.",
            )


def changes_at_slots(score: Score) -> Iterator[Found]:
    """Yield chords that begin where the harmonic rhythm lets no chord change.

    Good: C major: C 1 | E5; G 1 | D5; C 2 | E5
    Fault: C major: C 3/2 | E5; G 5/2 | D5
    """
    tune, rhythm = score.arrangement.tune, score.arrangement.style.harmonic_rhythm
    closes = closing_beats(tune, alike_bars(tune))
    for before, after in score.steps:
        bar = tune.bar_at(after.onset)
        # A bar longer than its signature has the places of the metre again.
        offset = (after.onset - bar.start + bar.offset) % bar.time.bar_length
        halves = half_bar_starts(bar.time) if rhythm is HarmonicRhythm.HALF_BAR else ()
        fine = offset in halves or bar.time.weight(offset) >= _LEAST_WEIGHT[rhythm]
        fine |= after.onset in closes
        if not (fine or before.slots[-1].locked or after.locked):
            yield Found(
                after.onset,
                f"{after.chord} begins on too weak a place for a change of chord.",
                "Change the chord on the next strong enough beat.",
            )


def filling_note_fits(score: Score) -> Iterator[Found]:
    """Yield slots filled by one tune note that is not in their chord.

    Good: C major: F | C5; C | F5 E5
    Fault: C major: F | E5
    """
    for slot, chord, notes in score.sung:
        for note in notes[:1]:
            # A shorter foreign note may pass or resolve; this one cannot.
            fills = note.onset <= slot.onset and note.end >= slot.end
            if fills and note.pitch.pitch_class not in chord.pitch_classes:
                yield Found(
                    slot.onset,
                    f"{note.pitch} fills its place but is not in {chord.with_notes}.",
                    f"Choose a chord that has {note.pitch.name}.",
                    slot.locked,
                )


def no_false_relation(score: Score) -> Iterator[Found]:
    """Yield the natural 7th of a minor tune over a chord with the raised one.

    Good: A minor: E | G#4; Am | A4
    Fault: A minor: E | G4; Am | A4
    """
    for moment in score.moments:
        slot, tune = moment.slot, moment.tune
        if slot.chord is None or tune is None or slot.key.mode is not Mode.MINOR:
            continue
        raised = slot.key.name_at(7, 1)
        clash = tune.pitch.name == slot.key.name_at(7) and raised in slot.chord.members
        if clash and moment.onset in (tune.onset, slot.onset):
            yield Found(
                moment.onset,
                f"{tune.pitch} in the tune clashes with {raised} in {slot.chord}.",
                f"Take a chord without {raised} here.",
            )


def stays_in_mode(score: Score) -> Iterator[Found]:
    """Yield chords of a modal tune with a note that is foreign to the mode.

    Good: D dorian: Dm | D5; G | B4; Dm | D5
    Fault: D dorian: Dm | D5; A | E5; Dm | D5
    """
    for span in score.spans:
        key = span.key
        if key.mode in (Mode.MAJOR, Mode.MINOR) or span.locked:
            continue
        foreign = [name for name in span.chord.members if name not in key.scale]
        if foreign:
            yield Found(
                span.onset,
                f"{span.chord} has {foreign[0]}, which is not in {key}.",
                "Keep to the chords of the mode.",
            )

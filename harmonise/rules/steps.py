"""Rules of the steps from chord to chord: progression, closes, voice leading.

Examples in the docstrings are written as in `hands`. Source: common practice of
elementary harmony and keyboard style, where parallels are avoided but not forbidden.
"""

from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise

from harmonise.errors import Remark, bars_called, format_beat
from harmonise.rules.chords import is_tonic, metric_weight
from harmonise.rules.score_view import Found, Moment, Score, Span
from harmonise.theory.arrangement import Voice
from harmonise.theory.chord import Chord, Member, Quality
from harmonise.theory.key import Mode
from harmonise.theory.motion import Height, parallels
from harmonise.theory.numerals import Role, diatonic_triad, family_of, goes_back
from harmonise.theory.phrases import sections_of
from harmonise.theory.tune import Tune

_VOICES = ("the bass", "the lower inner voice", "the inner voice", "the tune")


def not_syncopated(score: Score) -> Iterator[Found]:
    """Yield chords begun on a weaker beat that are still there on a stronger one.

    No memory runs over the end of a section, and a chord that comes with the last note
    of a line may last as long as that note does. Another bass makes no other chord.

    Good: C major: C 1 | E5; C 1 | E5; F 1 | F5; G 1 | D5; C 2 | E5
    Fault: C major: C 1 | E5; C 1 | E5; C 1 | E5; F 1 | F5; F 2 | F5
    """
    tune = score.arrangement.tune
    sections = dict(zip(tune.bars, sections_of(tune), strict=True))
    began = 0
    for before, span in pairwise(score.spans):
        goes_on = before.chord.upright == span.chord.upright
        began = max(began if goes_on else 0, metric_weight(score, span.onset))
        section = sections[tune.bar_at(span.onset)]
        for slot in span.slots[1:]:
            if sections[tune.bar_at(slot.onset)] != section:
                break
            stronger = metric_weight(score, slot.onset) > began
            if stronger and not _is_at_rest(tune, span.onset, slot.onset):
                bar, beat = span.slots[0].place
                begin = (
                    f"beat {format_beat(beat or Fraction(1))} of {bars_called([bar])}"
                )
                what = (
                    f"{span.chord} came in on {begin} and is held over a stronger beat."
                )
                remedy = "Change the chord here, or begin it on a strong beat."
                told = Remark("H07", what, slot.place, remedy)
                yield Found(slot.onset, what, remedy, slot.locked, told)
                break


def _is_at_rest(tune: Tune, begin: Fraction, now: Fraction) -> bool:
    """Return whether a line rests, from one place to another, on its last note."""
    end = next((end for end in tune.phrases if end > now), tune.end)
    return not any(begin < note.onset < end for note in tune.sounding)


def closes_from_dominant(score: Score) -> Iterator[Found]:
    """Yield a last change of chord that is no close: not V to I, nor a mode's own.

    IV to I, the plagal close, is reported too: it is allowed, but weaker.

    Good: C major: C | E5; G | D5; C | C5
    Good: C major: G | D5; C/E | C5; C | C5
    Fault: C major: G | D5; F | F5; C | E5
    """
    if not score.spans or not is_tonic(score.spans[-1].chord, score.spans[-1].key):
        return
    # Where the last chord only takes another bass (C/E C) the close came before that.
    root = score.spans[-1].chord.root
    changes = [pair for pair in score.steps if pair[0].chord.root != root]
    if not changes:
        return
    before, last = changes[-1]
    modal = last.key.mode not in (Mode.MAJOR, Mode.MINOR)
    if before.role is Role.DOMINANT or (modal and before.degree in ((5, 0), (7, 0))):
        return
    plagal = before.degree == (4, 0)
    what = f"the last change is {before.chord} to {last.chord}"
    kind = "a plagal close" if plagal else "no close by V"
    yield Found(
        last.onset,
        f"{what}{' (a plagal close)' if plagal else ''}.",
        "Close from the dominant if the tune allows it.",
        before.locked,
        Remark("H10", f"{what} ({kind}).", last.slots[0].place),
    )


def no_step_back(score: Score) -> Iterator[Found]:
    """Yield V to IV and V to ii, except in the close of a twelve-bar blues.

    A new line may begin anywhere: what went before ended with the line. Over a bass
    that rises from 5 to 6, IV with its third below stands for vi after V (Aldwell and
    Schachter, Harmony and Voice Leading, on the 6/3 of IV; from memory).

    Good: C major: C | E5; F | F5; G | D5; C | C5
    Fault: C major: C | E5; G | D5; F | F5; C | E5
    """
    lines = set(score.arrangement.tune.phrases)
    for before, after in score.steps:
        # Modes know no dominant that must lead on.
        free = after.key.mode not in (Mode.MAJOR, Mode.MINOR) or after.onset in lines
        if free or not goes_back(before.role, after.role):
            continue
        if _bass_rises_to_six(before, after):
            continue
        if not _is_blues_close(score, before):
            yield Found(
                after.onset,
                f"{before} goes back to {after}.",
                "Go from V to I, or stay on V.",
                after.locked,
                _step_back_told(before, after),
            )


def _bass_rises_to_six(before: Span, after: Span) -> bool:
    """Return whether the bass goes 5 6, as from V to vi, and ends on the IV of it."""
    key = after.key
    return (before.chord.bass, after.chord.bass) == (
        key.name_at(5),
        key.name_at(6),
    ) and (after.chord.root == key.name_at(4))


def _step_back_told(before: Span, after: Span) -> Remark:
    """Return the remark on V to IV; what the user locked is kept."""
    names = "–".join(family_of(span.slots[0].numeral) for span in (before, after))
    what = f"{before.chord} goes to {after.chord} ({names})."
    home = diatonic_triad(after.key, 1)
    remedy = f"Stay on {before.chord}, or go on to {home}, if the tune lets you."
    if after.locked:
        remedy = "Kept as you locked it."
    return Remark("H12", what, after.slots[0].place, remedy)


def _is_blues_close(score: Score, five: Span) -> bool:
    """Return whether a V opens V IV I I, the last four of twelve bars."""
    bars = [bar for bar in score.arrangement.tune.bars if bar.number > 0]
    at = score.spans.index(five)
    onsets = [span.onset for span in score.spans[at : at + 3]]
    wanted = [bar.start for bar in bars[8:11]]
    return len(bars) % 12 == 0 and onsets == wanted and len(score.spans) == at + 3


def seventh_resolves(score: Score) -> Iterator[Found]:
    """Yield dominant sevenths that do not go where they lead, or whose 7th stays up.

    The chord leads to one whose root lies a fourth or a step higher; its seventh falls
    a step to the third of that chord. A passing V7 to V is let be.

    Good: C major: G7 | F5; C | E5
    Fault: C major: G7 | F5; C | G5; G7 | D5; F | F5; C | E5
    """
    moments = score.by_slot
    for before, after in score.steps:
        if before.chord.quality is not Quality.DOMINANT_SEVENTH or after.locked:
            continue
        rise = (after.chord.root.pitch_class - before.chord.root.pitch_class) % 12
        if rise == 0:
            continue
        # Up a fourth is V to I, up a step the deceptive close; a fall leads nowhere.
        if rise not in (1, 2, 5):
            yield Found(
                after.onset,
                f"{before} goes to {after.chord}, where its seventh cannot resolve.",
                f"Go on to {before.chord.root.up(3, 5)}.",
            )
        else:
            last, first = moments[before.slots[-1].onset][-1], moments[after.onset][0]
            yield from _seventh_falls(before.chord, last, first)


def _seventh_falls(chord: Chord, last: Moment, first: Moment) -> Iterator[Found]:
    """Yield a seventh that leaps or rises; in the tune it may also be held back."""
    seventh = chord.member(Member.SEVENTH)
    reached = {note.pitch.midi for note in first.inner}
    for note in last.right:
        pitch = note.pitch
        if pitch.name != seventh or first.tune is None:
            continue
        goals = {first.tune.pitch.midi}
        if note.voice is Voice.TUNE:
            fine = {pitch.midi, pitch.midi - 1, pitch.midi - 2}
        else:
            fine, goals = {pitch.midi - 1, pitch.midi - 2}, goals | reached
        if not goals & fine:
            yield Found(
                first.onset,
                f"{pitch}, the seventh of {chord}, does not fall a step.",
                f"Let the voice that has {seventh} go down a step.",
            )


def no_parallels(score: Score) -> Iterator[Found]:
    """Yield parallel fifths and octaves from one chord to the next.

    A tune played in octaves is one voice, not two.

    Good: C major: F | F5 | A4 C5 | F2; G | D5 | G4 B4 | G2
    Fault: C major: F | F5 | A4 C5 | F2; G | G5 | B4 D5 | G2
    """
    moments = score.by_slot
    for before, after in score.steps:
        # Over a gap nobody hears two voices move together.
        if before.end != after.onset:
            continue
        old = [m for m in moments[before.slots[-1].onset] if m.tune]
        new = [m for m in moments[after.onset] if m.tune]
        if not old or not new:
            continue
        for pair in parallels(_voices(old[-1]), _voices(new[0])):
            yield Found(
                after.onset,
                f"{_VOICES[pair.lower]} and {_VOICES[pair.upper]} move in parallel "
                f"{pair.name} from {before.chord} to {after.chord}.",
                "Choose another shape, or move the left hand the other way.",
            )


def _voices(moment: Moment) -> tuple[Height, ...]:
    """Return the lowest left-hand note, two inner notes and the tune."""
    top = moment.tune.pitch.midi if moment.tune else None
    heights = [note.pitch.midi for note in moment.inner]
    # The octave below the tune is the tune again, not a voice that moves with it.
    doubled = top - 12 if top is not None else None
    inner: list[Height] = [None, None, *(midi for midi in heights if midi != doubled)]
    bass = moment.left[0].pitch.midi if moment.left else None
    return (bass, *inner[-2:], top)

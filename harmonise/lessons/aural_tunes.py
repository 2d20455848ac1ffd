"""Questions by ear made of a tune: its own lines, heard as they are arranged.

Each begins with the key chord; then come some chords of one line, the tune on top. Only
what the ear can tell is asked: no question is about a chord that sounds like another
one of the tune. Times are crotchets.
"""

from collections import Counter
from collections.abc import Callable, Iterator
from fractions import Fraction
from itertools import pairwise, product
from random import Random
from typing import NamedTuple

from harmonise.errors import MelodyError
from harmonise.form.splicing import Slice, cut, joined
from harmonise.lessons.aural import (
    AURAL_STEPS,
    TEMPO,
    AuralItem,
    AuralKind,
    AuralStep,
)
from harmonise.lessons.aural_makers import twice
from harmonise.lessons.aural_questions import (
    QUESTIONS,
    HeardChords,
    asked_kinds,
    cadence_heard,
    cadences_in,
    chord_names,
    member_on_top,
    shares,
)
from harmonise.lessons.drill_makers import STARTS
from harmonise.lessons.heard_sheets import is_unique_by_ear
from harmonise.lessons.worksheet import SheetOrder
from harmonise.theory.arrangement import Arrangement, Hand, Slot, SoundingNote, Voice
from harmonise.theory.numerals import NumberedChord, diatonic_triad, numeral
from harmonise.theory.tune import Bar, KeyChange, Tempo, TuneNote
from harmonise.theory.voicing import over_bass, positions

_MOST = 5
"""Chords of a question at most: more are not kept in mind (common practice)."""


class _TunePart(NamedTuple):
    """Some chords of a line, one after the other.

    Attributes:
        slots: Where each begins.
        end: Where the last one ends.
    """

    slots: tuple[Slot, ...]
    end: Fraction


_Parts = Iterator[tuple[_TunePart, HeardChords]]


def tune_items(model: Arrangement, order: SheetOrder) -> tuple[AuralItem, ...]:
    """Return questions by ear about a tune; fewer than asked for if it has no more.

    Args:
        model: The tune as it is arranged.
        order: Step, kind, seed and number of the questions.

    Raises:
        NotationError: If there is no such step, or the kind is asked later only.
        MelodyError: If the tune gives rise to no such question.
    """
    kinds = asked_kinds(order.step, order.about)
    step, key = AURAL_STEPS[order.step - 1], model.tune.key
    items: list[AuralItem] = []
    for kind, share in zip(kinds, shares(order.questions, len(kinds)), strict=True):
        # Versions in other keys have other questions.
        random = Random(f"{order.seed} {order.step} {kind.value} {key}")  # noqa: S311
        items += _drawn(list(_offers(model, step, kind)), share, random)
    if not items:
        raise MelodyError(
            f"This tune gives rise to no question of step {order.step}.",
            None,
            "Choose another step, or drill D12.",
        )
    return tuple(items)


class _Offer(NamedTuple):
    """A question that may be asked, and where in the tune it begins."""

    item: AuralItem
    onset: Fraction


def _offers(model: Arrangement, step: AuralStep, kind: AuralKind) -> Iterator[_Offer]:
    """Yield the questions of a kind; what sounds alike is asked once."""
    known: set[object] = set()
    for row, plain in _FITTING[kind](model, step):
        # Chords that are heard twice go without the tune, and have their sound.
        bare = kind is AuralKind.LEADING
        heard = plain if bare else plain._replace(score=_sound(model, row))
        item = QUESTIONS[kind](heard)
        if (item.notes, item.given) not in known:
            known.add((item.notes, item.given))
            yield _Offer(item, row.slots[0].onset)


def _drawn(offers: list[_Offer], count: int, random: Random) -> list[AuralItem]:
    """Return so many questions, their answers equally often while there are any.

    No two begin at one place of the tune, unless there are no others.
    """
    random.shuffle(offers)
    used: set[Fraction] = set()
    asked: Counter[str] = Counter()
    drawn = []
    for _ in range(min(count, len(offers))):
        chosen = min(
            offers,
            key=lambda offer: (
                asked[offer.item.answer] if offer.item.choices else 0,
                offer.onset in used,
            ),
        )
        offers.remove(chosen)
        used.add(chosen.onset)
        asked[chosen.item.answer] += 1
        drawn.append(chosen.item)
    # The last ones could be told from those before, were they left in this order.
    random.shuffle(drawn)
    return drawn


def _lines(model: Arrangement) -> Iterator[_TunePart]:
    """Yield the chords of each line; one that goes on is one chord."""
    edges = sorted({Fraction(0), *model.tune.phrases, model.tune.end})
    for start, end in pairwise(edges):
        slots: list[Slot] = []
        for slot in model.slots:
            inside = start <= slot.onset < end and slot.chord
            if inside and not (slots and slots[-1].chord == slot.chord):
                slots.append(slot)
        if slots:
            yield _TunePart(tuple(slots), end)


def _parts(model: Arrangement, step: AuralStep, sizes: range) -> _Parts:
    """Yield some chords of a line at a time, all of which a step has."""
    known = set(chord_names(step, model.tune.key))
    for line in _lines(model):
        ends = [*(slot.onset for slot in line.slots[1:]), line.end]
        for size in sizes:
            for at in range(len(line.slots) - size + 1):
                row = _TunePart(line.slots[at : at + size], ends[at + size - 1])
                if known.issuperset(slot.numeral for slot in row.slots):
                    yield row, _heard(model, step, row)


def _heard(model: Arrangement, step: AuralStep, row: _TunePart) -> HeardChords:
    chords = [
        NumberedChord(slot.chord, slot.numeral) for slot in row.slots if slot.chord
    ]
    return HeardChords(step, model.tune.key, chords, model)


def _alike(model: Arrangement, step: AuralStep) -> _Parts:
    """Yield the key chord and one more, or at later steps more, without the tune."""
    sizes = range(2, 3) if step is AURAL_STEPS[0] else range(3, _MOST)
    home = chord_names(step, model.tune.key)[0]
    for row, heard in _parts(model, step, sizes):
        if heard.numerals[0] != home:
            continue
        for at, start, other in product(
            range(1, len(row.slots)), STARTS, (False, True)
        ):
            yield row, twice(heard._replace(at=at), start, other=other)


def _pairs(model: Arrangement, step: AuralStep) -> _Parts:
    for row, heard in _parts(model, step, range(2, 3)):
        if is_unique_by_ear(model, row.slots[-1]):
            yield row, heard


def _basses(model: Arrangement, step: AuralStep) -> _Parts:
    """Yield chords whose basses all differ from the one before and are struck once."""
    struck = sorted({note.onset for note in model.notes if note.hand is Hand.LEFT})
    for row, heard in _parts(model, step, range(3, _MOST + 1)):
        onsets = [slot.onset for slot in row.slots]
        once = [at for at in struck if onsets[0] <= at < row.end] == onsets
        basses = [each.chord.bass for each in heard.chords]
        if once and all(one != two for one, two in pairwise(basses)):
            yield row, heard


def _gaps(model: Arrangement, step: AuralStep) -> _Parts:
    for row, heard in _parts(model, step, range(3, _MOST + 1)):
        for at, slot in enumerate(row.slots[1:-1], 1):
            if is_unique_by_ear(model, slot):
                yield row, heard._replace(at=at)


def _closes(model: Arrangement, step: AuralStep) -> _Parts:
    for line in _lines(model):
        row = line._replace(slots=line.slots[-3:])
        heard = _heard(model, step, row)
        cadence = cadence_heard(heard) if len(row.slots) > 1 else None
        if cadence and cadence.value in cadences_in(step):
            yield row, heard


def _tops(model: Arrangement, step: AuralStep) -> _Parts:
    """Yield chords that are struck under a note of theirs; they end with that note."""
    struck = {note.onset for note in model.notes if note.voice is Voice.INNER}
    tune = {note.onset: note for note in model.notes if note.voice is Voice.TUNE}
    for row, heard in _parts(model, step, range(2, 3)):
        onset = row.slots[-1].onset
        top = tune.get(onset)
        if onset in struck and top and member_on_top(heard.asked.chord, top.pitch):
            end = min(row.end, top.onset + top.length)
            yield row._replace(end=end), heard._replace(top=top.pitch)


_FITTING: dict[AuralKind, Callable[[Arrangement, AuralStep], _Parts]] = {
    AuralKind.LEADING: _alike,
    AuralKind.CHORD: _pairs,
    AuralKind.BASS: _basses,
    AuralKind.MISSING: _gaps,
    AuralKind.CADENCE: _closes,
    AuralKind.POSITION: _tops,
}
"""What of a tune each kind of question can be about."""


def _sound(model: Arrangement, row: _TunePart) -> Arrangement:
    """Return what is heard of some chords: the key chord, then themselves."""
    part = cut(model, row.slots[0].onset, row.end)
    whole = joined([Slice(_key_chord(part)), Slice(part)])
    tempo = Tempo(Fraction(0), TEMPO)
    return whole._replace(tune=whole.tune._replace(tempos=(tempo,)))


def _key_chord(part: Arrangement) -> Arrangement:
    """Return a bar of the key chord, let go a beat before its end."""
    tune, time = part.tune, part.tune.bars[0].time
    size, key, start = time.bar_length, tune.key, Fraction(0)
    chord, held = diatonic_triad(key, 1), time.bar_length - time.beat
    voicing = over_bass(chord, positions(chord)[0])
    rows = [
        *((pitch, Hand.LEFT, Voice.BASS) for pitch in voicing.left),
        *((pitch, Hand.RIGHT, Voice.INNER) for pitch in voicing.right[:-1]),
        (voicing.top, Hand.RIGHT, Voice.TUNE),
    ]
    alone = tune._replace(
        notes=(
            TuneNote(start, held, voicing.top),
            TuneNote(held, time.beat, None),
        ),
        bars=(Bar(1, start, size, time, double=True),),
        keys=(KeyChange(start, key),),
        phrases=(size,),
        locks=(),
        symbols=(),
    )
    slot = Slot(alone.place(start), start, size, key, chord, numeral(chord, key))
    notes = tuple(SoundingNote(start, held, *row) for row in rows)
    return Arrangement(alone, part.style, (slot,), notes)

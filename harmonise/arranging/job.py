"""The job, top to bottom: a tune in, chords and voicings under it, a score out."""

from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from harmonise.arranging.remarks import REFUSED, STRONG, broken_rules, score_order
from harmonise.choice.accompaniment import played
from harmonise.choice.choose import Choice, choose
from harmonise.choice.grid import pace_of, settle_rhythm
from harmonise.choice.left_plans import fallen_back
from harmonise.choice.richer import choose_richer
from harmonise.errors import MelodyError, NoHarmonyError, Remark
from harmonise.left_hand.patterns import settle_left_hand
from harmonise.notation.files import inputs_kept
from harmonise.notation.formats import read_tune
from harmonise.notation.outputs import write_score
from harmonise.rules.players import unkept
from harmonise.rules.promise import assert_tune_on_top
from harmonise.theory.arrangement import (
    AUTO_LEVEL,
    PLAIN,
    Arrangement,
    HarmonicRhythm,
    Labels,
    LeftHand,
    Slot,
    SoundingNote,
    Style,
    Texture,
    Voice,
)
from harmonise.theory.key_finding import doubts
from harmonise.theory.reach import with_fingers
from harmonise.theory.tune import Tune, is_quick
from harmonise.theory.voicing import position_of

if TYPE_CHECKING:
    from harmonise.notation.musicxml.streams import Streamed
    from harmonise.theory.pitch import Pitch


def arrange(
    tune: "Tune | Streamed", style: Style = PLAIN, *, explained: bool = True
) -> Arrangement:
    """Return a tune with its chords, their reasons and every note both hands play.

    Args:
        tune: The tune, or a Score, Part or Stream of music21; it is never changed.
        style: What is asked for.
        explained: Whether each slot gets its reason and the other good chords.

    Raises:
        MelodyError: If the tune has no note.
        NoHarmonyError: With `style.strict`, if no chord meets a rule somewhere.
    """
    if not isinstance(tune, Tune):
        # Only those who have music21 come here, and it is slow to load.
        from harmonise.notation.musicxml.streams import read_stream  # noqa: PLC0415

        tune = read_stream(tune)
    if not tune.sounding:
        raise MelodyError("There is no note in this tune.")
    if style.level == AUTO_LEVEL:
        return _at_lowest_level(tune, style, explained=explained)
    settled = settle(tune, style)
    if settled.texture is Texture.HYMN:
        return _in_four_parts(tune, settled, style, explained=explained)
    choice = choose_richer(tune, settled) if settled.richer else choose(tune, settled)
    choice, notes = played(tune, choice, settled)
    slots = _slots(tune, choice, notes, explained=explained)
    if settled.fingering:
        notes = with_fingers(notes)
    arrangement = Arrangement(tune, settled, slots, notes, (), choice.paths.cost)
    broken = (*broken_rules(arrangement, choice), *_not_kept(arrangement))
    return _with_remarks(arrangement, broken)


def _with_remarks(arrangement: Arrangement, broken: tuple[Remark, ...]) -> Arrangement:
    """Return an arrangement with all its remarks, its promise checked.

    Raises:
        NoHarmonyError: With `style.strict`, if a rule gave way that must not.
    """
    tune, refused = arrangement.tune, [row for row in broken if row.code in REFUSED]
    if arrangement.style.strict and refused:
        raise NoHarmonyError(*refused[0][1:])
    remarks = sorted((*tune.remarks, *doubts(tune), *broken), key=score_order)
    arrangement = arrangement._replace(remarks=tuple(remarks))
    assert_tune_on_top(arrangement)
    return arrangement


def _in_four_parts(
    tune: Tune, style: Style, asked: Style, *, explained: bool
) -> Arrangement:
    """Return a tune set for soprano, alto, tenor and bass, two to each hand."""
    from harmonise.choice.parts import setting  # noqa: PLC0415 (few ask for it)
    from harmonise.choice.parts.choose_parts import choose_parts  # noqa: PLC0415

    parts = choose_parts(tune, style)
    notes = setting.sounding_parts(tune, parts, style.span)
    slots = _slots(tune, parts.choice, notes, explained=explained)
    # A hand that plays two parts has no shape to name.
    slots = tuple(slot._replace(position=None) for slot in slots)
    style = style._replace(labels=Labels.NONE)
    arrangement = Arrangement(tune, style, slots, notes, (), parts.cost)
    remarks = [r for r in broken_rules(arrangement, parts.choice) if r.code != "LOW"]
    remarks += setting.part_remarks(tune, parts)
    patterned = asked.left_hand not in (LeftHand.AUTO, LeftHand.HELD)
    named = asked.fingering or asked.labels is not Labels.NONE
    if patterned or asked.sections or named:
        what = "Four parts have no left-hand patterns, sections, fingering or labels."
        remarks.append(Remark("PARTS", what, None, "They were left out."))
    return _with_remarks(arrangement, (*remarks, *_not_kept(arrangement)))


def _not_kept(arrangement: Arrangement) -> Iterator[Remark]:
    """Yield where the left hand or the player does not get what was asked for."""
    yield from fallen_back(arrangement)
    yield from unkept(arrangement)


def _at_lowest_level(tune: Tune, style: Style, *, explained: bool) -> Arrangement:
    """Return the arrangement of the lowest level that breaks the fewest strong rules.

    Raises:
        NoHarmonyError: With `style.strict`, if no level meets a rule somewhere.
    """
    lax = style._replace(strict=False)
    tried: list[tuple[int, Arrangement]] = []
    for level in (1, 2, 3, 4):
        arrangement = arrange(tune, lax._replace(level=level), explained=explained)
        tried.append((sum(r.code in STRONG for r in arrangement.remarks), arrangement))
        if not tried[-1][0]:
            break
    fewest, arrangement = min(tried, key=lambda pair: pair[0])
    if style.strict:
        strict = arrangement.style._replace(strict=True, locks=style.locks)
        arrangement = arrange(tune, strict, explained=explained)
    level = arrangement.style.level
    what = f"Level {level} is the lowest that keeps every strong rule."
    if fewest:
        what = f"Level {level} breaks the fewest strong rules ({fewest})."
    if level > 1:
        below = tried[level - 2][1]
        broken = next(r for r in below.remarks if r.code in STRONG)
        what += f" At level {level - 1}: {broken}"
    return arrangement._replace(
        style=arrangement.style._replace(strict=style.strict),
        remarks=(Remark("LEVEL", what), *arrangement.remarks),
    )


def settle_texture(tune: Tune, rhythm: HarmonicRhythm) -> Texture:
    """Return the texture that "auto" takes.

    Args:
        tune: The tune.
        rhythm: Settled harmonic rhythm.
    """
    if rhythm is HarmonicRhythm.BEAT:
        return Texture.BLOCK
    if is_quick(tune):
        return Texture.LIGHT
    lively = any(n.length < tune.bar_at(n.onset).time.beat for n in tune.sounding)
    return Texture.HELD if lively else Texture.BLOCK


def settle(tune: Tune, style: Style) -> Style:
    """Return the style with every "auto" settled for a tune, its own locks included."""
    rhythm = settle_rhythm(tune, style.harmonic_rhythm)
    texture = style.texture
    if texture is Texture.HYMN:
        if style.harmonic_rhythm is HarmonicRhythm.AUTO:
            rhythm = HarmonicRhythm.BEAT
        style = style._replace(left_hand=LeftHand.HELD, sections=(), fingering=False)
    if texture is Texture.AUTO:
        texture = settle_texture(tune, rhythm)
    left_hand = style.left_hand
    if left_hand is LeftHand.AUTO:
        left_hand = settle_left_hand(tune, style.level, rhythm, pace_of(tune))
        # Under a light right hand the left has more than the root.
        if left_hand is LeftHand.HELD and texture is Texture.LIGHT:
            left_hand = LeftHand.CHORDS
    return style._replace(
        harmonic_rhythm=rhythm,
        texture=texture,
        left_hand=left_hand,
        locks=(*tune.locks, *style.locks),
    )


def _slots(
    tune: Tune, choice: Choice, notes: tuple[SoundingNote, ...], *, explained: bool
) -> tuple[Slot, ...]:
    explain = None
    if explained:
        # A page does without reasons, and sooner without their reader.
        from harmonise.arranging.explain import Explainer  # noqa: PLC0415

        explain = Explainer(tune, choice)
    ticks = choice.grid.ticks
    edges = [Fraction(edge, ticks) for edge in choice.grid.slot_start.tolist()]
    slots = []
    if edges[0] > 0:
        alone = "The tune goes alone before the first chord."
        key = tune.key_at(Fraction(0))
        place = tune.place(Fraction(0))
        slots.append(Slot(place, Fraction(0), edges[0], key, None, reason=alone))
    shapes: dict[Fraction, list[Pitch]] = {}
    for note in notes:
        if note.voice is not Voice.BASS:
            shapes.setdefault(note.onset, []).append(note.pitch)
    for slot in range(choice.grid.slots):
        onset = edges[slot]
        offer = choice.menu.offer(slot, int(choice.columns[slot]))
        shape = shapes.get(onset, ())
        # Two notes strike no full chord, so they have no shape of their own.
        position = position_of(offer.chord, shape) if len(shape) >= 3 else None
        slots.append(
            Slot(
                tune.place(onset), onset, edges[slot + 1] - onset, tune.key_at(onset),
                offer.chord, offer.numeral, position,
                explain.reason(slot) if explain else "",
                explain.alternatives(slot) if explain else (),
                bool(choice.menu.locked[slot]),
            )
        )  # fmt: skip
    return tuple(slots)


def arrange_file(
    source: Path, target: Path, style: Style = PLAIN, *, force: bool = False
) -> Arrangement:
    """Read a tune, choose chords and voicings under it, write a two-staff score.

    Raises:
        HarmoniseError: With the place, the fault and the remedy.
    """
    with inputs_kept():
        arrangement = arrange(read_tune(source), style)
        write_score(arrangement, target, force=force)
    return arrangement

"""The job, top to bottom: a tune in, chords and voicings under it, a score out."""

from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from harmonise.arranging.remarks import REFUSED, STRONG, broken_rules
from harmonise.choice.choose import Choice, choose
from harmonise.choice.grid import pace_of, settle_rhythm
from harmonise.choice.sounding import sounding_notes
from harmonise.errors import MelodyError, NoHarmonyError, Remark
from harmonise.left_hand.patterns import settle_left_hand
from harmonise.rules.promise import assert_tune_on_top
from harmonise.theory.arrangement import (
    AUTO_LEVEL,
    PLAIN,
    Arrangement,
    HarmonicRhythm,
    LeftHand,
    Position,
    Slot,
    SoundingNote,
    Style,
    Texture,
    Voice,
)
from harmonise.theory.chord import Chord
from harmonise.theory.fingering import with_fingers
from harmonise.theory.key_finding import doubts
from harmonise.theory.tune import Tune
from harmonise.theory.voicing import position_of

if TYPE_CHECKING:
    from harmonise.arranging.explain import Explainer
    from harmonise.notation.musicxml.streams import Streamed


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
    choice, notes = _played(tune, settled)
    slots = _slots(tune, choice, notes, explained=explained)
    if settled.fingering:
        notes = with_fingers(notes)
    done = Arrangement(tune, settled, slots, notes, (), choice.paths.cost)
    return _told(done, (*broken_rules(done, choice), *_not_kept(done)))


def _told(done: Arrangement, found: tuple[Remark, ...]) -> Arrangement:
    """Return an arrangement with all its remarks, its promise checked.

    Raises:
        NoHarmonyError: With `style.strict`, if a rule gave way that must not.
    """
    refused = [remark for remark in found if remark.code in REFUSED]
    if done.style.strict and refused:
        raise NoHarmonyError(*refused[0][1:])
    remarks = (*done.tune.remarks, *doubts(done.tune), *found)
    done = done._replace(remarks=_in_order(remarks))
    assert_tune_on_top(done)
    return done


def _in_four_parts(
    tune: Tune, style: Style, asked: Style, *, explained: bool
) -> Arrangement:
    """Return a tune set for soprano, alto, tenor and bass, two to each hand."""
    from harmonise.choice.parts import setting  # noqa: PLC0415 (few ask for it)
    from harmonise.choice.parts.choose_parts import choose_parts  # noqa: PLC0415

    parts = choose_parts(tune, style)
    notes = setting.sounding_parts(tune, parts, style.span)
    slots = _slots(tune, parts.choice, notes, explained=explained)
    alone = len(slots) - len(parts.offers)
    turned = tuple(
        slot._replace(chord=offer.chord, numeral=offer.numeral, position=None)
        for slot, offer in zip(slots[alone:], parts.offers, strict=True)
    )
    done = Arrangement(tune, style, (*slots[:alone], *turned), notes, (), parts.cost)
    found = [r for r in broken_rules(done, parts.choice) if r.code != "LOW"]
    own = (*setting.part_remarks(tune, parts), *_not_for_parts(asked), *_not_kept(done))
    return _told(done, (*found, *own))


def _not_for_parts(asked: Style) -> Iterator[Remark]:
    """Yield what was asked of the hands that four parts do not have."""
    patterned = asked.left_hand not in (LeftHand.AUTO, LeftHand.HELD)
    if patterned or asked.sections or asked.fingering:
        what = "Four parts have no left-hand patterns, sections or fingering."
        yield Remark("PARTS", what, None, "They were left out.")


def _played(tune: Tune, style: Style) -> tuple[Choice, tuple[SoundingNote, ...]]:
    """Return what was chosen and every note of it."""
    choice = choose(tune, style)
    if _is_plain(style):
        return choice, sounding_notes(tune, choice)
    from harmonise.choice.accompaniment import (  # noqa: PLC0415 (a held root needs none)
        played,
    )

    return played(tune, choice, style)


def _is_plain(style: Style) -> bool:
    """Whether the left hand holds the root throughout, for nobody in particular."""
    return (
        style.left_hand is LeftHand.HELD and not style.sections and style.player is None
    )


def _not_kept(done: Arrangement) -> Iterator[Remark]:
    """Yield where the left hand or the player does not get what was asked for."""
    if not _is_plain(done.style):
        from harmonise.choice.accompaniment import fallen_back  # noqa: PLC0415
        from harmonise.rules.players import unkept  # noqa: PLC0415

        yield from fallen_back(done)
        yield from unkept(done)


_LEVELS = (1, 2, 3, 4)


def _at_lowest_level(tune: Tune, style: Style, *, explained: bool) -> Arrangement:
    """Return the arrangement of the lowest level that breaks the fewest strong rules.

    Raises:
        NoHarmonyError: With `style.strict`, if no level meets a rule somewhere.
    """
    lax = style._replace(strict=False)
    tried: list[tuple[int, Arrangement]] = []
    for level in _LEVELS:
        done = arrange(tune, lax._replace(level=level), explained=explained)
        tried.append((sum(r.code in STRONG for r in done.remarks), done))
        if not tried[-1][0]:
            break
    fewest, done = min(tried, key=lambda pair: pair[0])
    if style.strict:
        strict = done.style._replace(strict=True, locks=style.locks)
        done = arrange(tune, strict, explained=explained)
    return done._replace(
        style=done.style._replace(strict=style.strict),
        remarks=(_told_level(tried, done, fewest), *done.remarks),
    )


def _told_level(
    tried: list[tuple[int, Arrangement]], done: Arrangement, fewest: int
) -> Remark:
    """Say which level was taken, and what spoke against the one below."""
    level = done.style.level
    what = f"Level {level} is the lowest that keeps every strong rule."
    if fewest:
        what = f"Level {level} breaks the fewest strong rules ({fewest})."
    if level > 1:
        below = tried[level - 2][1]
        broken = next(r for r in below.remarks if r.code in STRONG)
        what += f" At level {level - 1}: {broken}"
    return Remark("LEVEL", what)


def settle(tune: Tune, style: Style) -> Style:
    """Return the style with every "auto" settled for a tune, its own locks included."""
    rhythm = settle_rhythm(tune, style.harmonic_rhythm)
    texture = style.texture
    if texture is Texture.HYMN:
        if style.harmonic_rhythm is HarmonicRhythm.AUTO:
            rhythm = HarmonicRhythm.BEAT
        style = style._replace(left_hand=LeftHand.HELD, sections=(), fingering=False)
    if texture is Texture.AUTO:
        lively = any(n.length < tune.bar_at(n.onset).time.beat for n in tune.sounding)
        plain = rhythm is HarmonicRhythm.BEAT or not lively
        texture = Texture.BLOCK if plain else Texture.HELD
    left_hand = style.left_hand
    if left_hand is LeftHand.AUTO:
        time, pace = tune.bars[0].time, pace_of(tune)
        left_hand = settle_left_hand(time, style.level, rhythm, pace)
    return style._replace(
        harmonic_rhythm=rhythm,
        texture=texture,
        left_hand=left_hand,
        locks=(*tune.locks, *style.locks),
    )


def _slots(
    tune: Tune, choice: Choice, notes: tuple[SoundingNote, ...], *, explained: bool
) -> tuple[Slot, ...]:
    explain = _explainer(tune, choice) if explained else None
    ticks = choice.grid.ticks
    edges = [Fraction(edge, ticks) for edge in choice.grid.slot_start.tolist()]
    found = []
    if edges[0] > 0:
        alone = "The tune goes alone before the first chord."
        key = tune.key_at(Fraction(0))
        place = tune.place(Fraction(0))
        found.append(Slot(place, Fraction(0), edges[0], key, None, reason=alone))
    shapes = _shapes(notes)
    for slot in range(choice.grid.slots):
        onset = edges[slot]
        offer = choice.board.offer(slot, int(choice.columns[slot]))
        found.append(
            Slot(
                tune.place(onset), onset, edges[slot + 1] - onset, tune.key_at(onset),
                offer.chord, offer.numeral,
                _position(offer.chord, shapes.get(onset, ())),
                explain.reason(slot) if explain else "",
                explain.alternatives(slot) if explain else (),
                bool(choice.board.locked[slot]),
            )
        )  # fmt: skip
    return tuple(found)


def _explainer(tune: Tune, choice: Choice) -> "Explainer":
    from harmonise.arranging.explain import (  # noqa: PLC0415 (a page does without)
        Explainer,
    )

    return Explainer(tune, choice)


def _shapes(
    notes: tuple[SoundingNote, ...],
) -> dict[Fraction, tuple[SoundingNote, ...]]:
    """Return the right-hand notes by onset."""
    found: dict[Fraction, tuple[SoundingNote, ...]] = {}
    for note in notes:
        if note.voice is not Voice.BASS:
            found[note.onset] = (*found.get(note.onset, ()), note)
    return found


def _position(chord: Chord, shape: tuple[SoundingNote, ...]) -> Position | None:
    """Return the shape of the right hand; None where it strikes no full chord."""
    pitches = [note.pitch for note in shape]
    return position_of(chord, pitches) if len(pitches) >= 3 else None


def _in_order(remarks: tuple[Remark, ...]) -> tuple[Remark, ...]:
    """Return remarks on the whole tune first, then in score order."""
    return tuple(
        sorted(
            remarks,
            key=lambda r: (
                (-1, Fraction(0))
                if r.place is None
                else (r.place.bar, r.place.beat or Fraction(0))
            ),
        )
    )


def arrange_file(
    source: Path, target: Path, style: Style = PLAIN, *, force: bool = False
) -> Arrangement:
    """Read a tune, choose chords and voicings under it, write a two-staff score.

    Raises:
        HarmoniseError: With the place, the fault and the remedy.
    """
    from harmonise.notation.formats import read_tune  # noqa: PLC0415
    from harmonise.notation.outputs import write_score  # noqa: PLC0415

    arrangement = arrange(read_tune(source), style)
    write_score(arrangement, target, force=force)
    return arrangement

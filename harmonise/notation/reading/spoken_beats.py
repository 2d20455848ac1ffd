"""What one hand begins on a beat, read back from words."""

import re
from fractions import Fraction
from typing import NamedTuple

from harmonise.notation.spoken_words import hear_beats, hear_pitch
from harmonise.theory.arrangement import Hand, SoundingNote, Voice

_HAND = r"(right|left) hand (.+)"
_NOTE = r"(?:(tune|inner|bass) )?([A-G].*?)(?: finger ([1-5]))?"
_VOICES = {Hand.RIGHT: Voice.INNER, Hand.LEFT: Voice.BASS}
"""The voice of each hand that is not named."""


class Hearing(NamedTuple):
    """What a hand begins.

    Attributes:
        hand: The hand.
        notes: Its new notes.
        holding: What it is said to hold besides; None if nothing is said of it.
    """

    hand: Hand
    notes: tuple[SoundingNote, ...]
    holding: tuple[SoundingNote, ...] | None = None


def hear_hand(text: str, onset: Fraction, unit: Fraction) -> Hearing | str:
    """Return what a hand begins, or what is wrong with the words.

    Args:
        text: Such as "right hand C 4, E 4, tune G 4, one beat".
        onset: Where it begins, in crotchets.
        unit: Length of a beat in crotchets.
    """
    found = re.fullmatch(_HAND, text)
    if found is None:
        return f'"{text}" names no hand.'
    hand = Hand(found[1])
    if found[2].startswith("rests, "):
        beats = hear_beats(found[2].removeprefix("rests, "))
        return Hearing(hand, ()) if beats else f'"{text}" is no rest.'
    struck, _, kept = found[2].partition(", while holding ")
    holding = _held_by(hand, kept) if kept else ()
    if holding is None:
        return f'"{kept}" are no notes to hold.'
    heard = _hear_notes(hand, _without_rest(struck.split(", ")))
    if isinstance(heard, str):
        return heard
    notes = tuple(n._replace(onset=onset, length=n.length * unit) for n in heard)
    return Hearing(hand, notes, holding if notes else None)


def _hear_notes(hand: Hand, words: list[str]) -> list[SoundingNote] | str:
    """Return notes with their lengths in beats; a length is said once for several."""
    notes: list[SoundingNote] = []
    waiting: list[SoundingNote] = []
    for word in words:
        note = _hear_note(hand, word)
        beats = hear_beats(word)
        if note is not None:
            waiting.append(note)
        elif beats and waiting:
            notes += [own._replace(length=beats) for own in waiting]
            waiting = []
        else:
            return f'"{word}" is no note and no length here.'
    return f'no length is said of "{", ".join(words)}".' if waiting else notes


def _without_rest(words: list[str]) -> list[str]:
    """Take away a rest of the tune, which ends what the right hand does."""
    rests = len(words) >= 2 and words[-2] == "tune rests" and hear_beats(words[-1])
    return words[:-2] if rests else words


def _hear_note(hand: Hand, text: str) -> SoundingNote | None:
    found = re.fullmatch(_NOTE, text)
    pitch = hear_pitch(found[2]) if found else None
    if found is None or pitch is None:
        return None
    voice = Voice(found[1]) if found[1] else _VOICES[hand]
    return SoundingNote(
        Fraction(0), Fraction(1), pitch, hand, voice, int(found[3] or 0)
    )


def _held_by(hand: Hand, text: str) -> tuple[SoundingNote, ...] | None:
    heard = [_hear_note(hand, word) for word in text.split(", ")]
    notes = tuple(note for note in heard if note is not None)
    return notes if len(notes) == len(heard) else None


def hear_held(text: str) -> dict[Hand, tuple[SoundingNote, ...]] | None:
    """Return the notes that hands hold over a bar line; None if it is no such list.

    Args:
        text: Such as "right hand E 4, tune C 5; left hand C 3".
    """
    held: dict[Hand, tuple[SoundingNote, ...]] = {}
    for part in text.split("; "):
        found = re.fullmatch(_HAND, part)
        hand = Hand(found[1]) if found else Hand.RIGHT
        notes = _held_by(hand, found[2]) if found else None
        if notes is None:
            return None
        held[hand] = notes
    return held

"""MIDI files for tests, made with mido alone, and what is wanted back from them."""

import random
from collections.abc import Iterable, Sequence
from fractions import Fraction
from io import BytesIO
from itertools import pairwise

import mido
import pytest
from oracles.tune_shape import assert_whole

from harmonise.errors import NotationError
from harmonise.notation.midi.reading import parse_midi
from harmonise.theory.play_order import played
from harmonise.theory.tune import Tune, TuneNote

TICKS = 480

Row = tuple[Fraction | float | int, Fraction | float | int, int]
"""Onset and length in crotchets, note number."""


def track(
    rows: Iterable[Row] = (),
    *metas: tuple[float, mido.MetaMessage],
    name: str = "",
    channel: int = 0,
    ticks: int = TICKS,
) -> mido.MidiTrack:
    """Return a track of notes and of meta events with their onsets in crotchets."""
    events = [(round(at * ticks), 0, meta) for at, meta in metas]
    for onset, length, note in rows:
        start, end = round(onset * ticks), round((onset + length) * ticks)
        own = {"note": note, "channel": channel}
        events.append((start, 2, mido.Message("note_on", velocity=80, **own)))
        events.append((end, 1, mido.Message("note_off", **own)))
    made = mido.MidiTrack()
    if name:
        made.append(mido.MetaMessage("track_name", name=name))
    now = 0
    for at, _, message in sorted(events, key=lambda event: event[:2]):
        made.append(message.copy(time=at - now))
        now = at
    return made


def time_sign(text: str, at: float = 0) -> tuple[float, mido.MetaMessage]:
    """Return a time signature such as "6/8"."""
    upper, lower = map(int, text.split("/"))
    return at, mido.MetaMessage("time_signature", numerator=upper, denominator=lower)


def key_sign(name: str, at: float = 0) -> tuple[float, mido.MetaMessage]:
    """Return a key signature such as "F#m"."""
    return at, mido.MetaMessage("key_signature", key=name)


def packed(*tracks: mido.MidiTrack, kind: int = 1, ticks: int = TICKS) -> bytes:
    """Return the bytes of a file."""
    file = mido.MidiFile(type=kind, ticks_per_beat=ticks)
    file.tracks.extend(tracks)
    out = BytesIO()
    file.save(file=out)
    return out.getvalue()


def in_a_row(text: str, *, start: float = 0) -> list[Row]:
    """Return notes one after another: "60:1 62:1/2 -:1"; "-" is silence."""
    rows: list[Row] = []
    now = Fraction(start)
    for word in text.split():
        note, _, length = word.partition(":")
        long = Fraction(length or 1)
        if note != "-":
            rows.append((now, long, int(note)))
        now += long
    return rows


def read(data: bytes, part: str = "") -> Tune:
    """Return the one tune of a file."""
    (tune,) = parse_midi(data, part)
    return tune


def unfolded(tune: Tune) -> list[TuneNote]:
    """Return the notes of a tune as they are played, repeats and all."""
    return [
        note._replace(
            onset=own.at + note.onset - own.start,
            length=min(note.length, own.end - note.onset),
        )
        for own in played(tune)
        for note in tune.sounding
        if own.start <= note.onset < own.end
    ]


def told(tune: Tune, code: str = "Q") -> list[str]:
    """Return the remarks whose code begins so."""
    return [str(remark) for remark in tune.remarks if remark.code.startswith(code)]


def performed(
    notes: Sequence[TuneNote], per_minute: float, seed: int, ticks: int = 960
) -> list[Row]:
    """Return notes as a player plays them.

    Onsets stray up to 30 milliseconds either way, and a note is let go of after 75 to
    98 hundredths of its length.
    """
    dice = random.Random(seed)  # noqa: S311 (a fixed seed makes the test repeatable)
    stray = 0.030 * per_minute / 60
    starts = [
        max(0.0, float(note.onset) + dice.uniform(-stray, stray)) for note in notes
    ]
    rows: list[Row] = []
    for number, note in enumerate(notes):
        end = starts[number] + float(note.length) * dice.uniform(0.75, 0.98)
        if number + 1 < len(notes):
            end = min(end, starts[number + 1] - 1 / ticks)
        assert note.pitch
        rows.append((starts[number], end - starts[number], note.pitch.midi))
    assert all(a[0] < b[0] for a, b in pairwise(rows))
    return rows


FACTS = (time_sign("4/4"), key_sign("C"))
"""What a file in 4/4 and C tells."""


def one(text: str, *metas: tuple[float, mido.MetaMessage], start: float = 0) -> Tune:
    """Return the tune of one track of notes; 4/4 in C unless signs are given."""
    tune = read(packed(track(in_a_row(text, start=start), *(metas or FACTS))))
    assert_whole(tune)
    return tune


def heard(tune: Tune) -> str:
    return " ".join(f"{note.pitch or '-'}:{note.length}" for note in tune.notes)


def bars(tune: Tune) -> str:
    return " ".join(f"{bar.number}:{bar.length}" for bar in tune.bars)


def refused(data: bytes, part: str = "") -> str:
    with pytest.raises(NotationError) as caught:
        parse_midi(data, part)
    return str(caught.value)


def meta(kind: str, at: float = 0, **fields: object) -> tuple[float, mido.MetaMessage]:
    return at, mido.MetaMessage(kind, **fields)

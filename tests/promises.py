"""The promise of every page, checked instant by instant without the engine's help."""

from fractions import Fraction

from harmonise.theory.arrangement import Arrangement, Hand, SoundingNote, Voice


def broken_promises(arrangement: Arrangement, *, inversions: bool = False) -> list[str]:
    """Return what is wrong with an arrangement, in words; [] if all is well."""
    return [
        *_tune_kept(arrangement),
        *_order(arrangement),
        *_chords(arrangement, inversions=inversions),
    ]


def _tune_kept(arrangement: Arrangement) -> list[str]:
    given = [(n.onset, n.length, n.pitch) for n in arrangement.tune.sounding]
    played = [
        (n.onset, n.length, n.pitch) for n in arrangement.notes if n.voice is Voice.TUNE
    ]
    return [] if given == played else ["the tune is not the one that was given"]


def _instants(arrangement: Arrangement) -> list[tuple[Fraction, list[SoundingNote]]]:
    """Return the notes that sound after each onset or end."""
    events: dict[Fraction, tuple[list[SoundingNote], list[SoundingNote]]] = {}
    for note in arrangement.notes:
        events.setdefault(note.onset, ([], []))[0].append(note)
        events.setdefault(note.onset + note.length, ([], []))[1].append(note)
    now: list[SoundingNote] = []
    found = []
    for when in sorted(events):
        starts, ends = events[when]
        now = [note for note in now if note not in ends] + starts
        found.append((when, list(now)))
    return found


def _order(arrangement: Arrangement) -> list[str]:
    wrong = []
    for when, notes in _instants(arrangement):
        tune = [n.pitch.midi for n in notes if n.voice is Voice.TUNE]
        inner = [n.pitch.midi for n in notes if n.voice is Voice.INNER]
        left = [n.pitch.midi for n in notes if n.hand is Hand.LEFT]
        if len(tune) > 1:
            wrong.append(f"{when}: two tune notes")
        if tune and inner and max(inner) >= min(tune):
            wrong.append(f"{when}: inner note not under the tune")
        if left and (tune or inner) and max(left) >= min(tune + inner):
            wrong.append(f"{when}: hands meet")
        if tune and inner and max(tune) - min(inner) > 12:
            wrong.append(f"{when}: wider than an octave")
        if len(set(inner)) < len(inner):
            wrong.append(f"{when}: an inner note twice")
    return wrong


def _chords(arrangement: Arrangement, *, inversions: bool) -> list[str]:
    wrong = []
    slots = [slot for slot in arrangement.slots if slot.chord]
    for note in arrangement.notes:
        if note.voice is Voice.TUNE:
            continue
        end = note.onset + note.length
        for slot in slots:
            if slot.chord is None or slot.end <= note.onset or slot.onset >= end:
                continue
            if note.pitch.name not in slot.chord.members:
                wrong.append(f"{slot.place}: {note.pitch} is not in {slot.chord}")
            if note.hand is Hand.LEFT:
                wanted = slot.chord.bass if inversions else slot.chord.root
                if note.pitch.name != wanted:
                    wrong.append(
                        f"{slot.place}: left hand {note.pitch} under {slot.chord}"
                    )
    return wrong

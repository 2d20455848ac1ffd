"""Questions before answers: two hints that lead to the answer, then the answer.

The first two never contain it: they name no chord and no note, only places and degrees
of the scale, and ask what a teacher asks at the piano.
"""

from harmonise.marks.kinds import CHOICE_KEYS
from harmonise.marks.labels import slot_at
from harmonise.marks.marked import Line, Marking
from harmonise.theory.arrangement import Slot
from harmonise.theory.tune import Tune

Hints = tuple[str, str, str]

_QUESTIONS = {
    "M01": (
        "Which note should be heard above all others here?",
        "Is any note of your right hand higher than that one?",
    ),
    "M02": (
        "Which notes has this chord?",
        "Which of your notes is none of them?",
    ),
    "M03": (
        "Which notes has this chord?",
        "Which of them do you hear in neither hand?",
    ),
    "M04": (
        "Which note do the last chord and this one share?",
        "Could the same finger hold it?",
    ),
    "M05": (
        "How far does each finger move from the last chord?",
        "Is there a shape of the same chord with smaller steps?",
    ),
    "M06": (
        "Which chord stands here, and what is its root?",
        "Which member of the chord does your left hand play?",
    ),
    "M07": (
        "How many keys does your right hand span here?",
        "Which of its notes could lie nearer to the tune?",
    ),
    "M08": (
        "Which hand has the lowest note here?",
        "In which octave would the left hand be out of the way?",
    ),
    "M09": (
        "Which is the lowest note of your right hand?",
        "Is it root, third or fifth of the chord?",
    ),
    "M10": (
        "Which notes do you play here?",
        "Which of them is the root, and is its third large or small?",
    ),
    "M11": (
        "Which letters do root, third and fifth of this chord have?",
        "Which of your notes is right on the keys and wrong on the page?",
    ),
    "M12": (
        "What becomes of the seventh degree of a minor key before the keynote?",
        "Which of your notes is that degree?",
    ),
    "M14": (
        "On which beats of the bar does a chord best begin?",
        "Is the beat where this one began stronger than this one here?",
    ),
    "M15": (
        "On which degree does a tune come to rest?",
        "Does your last chord stand on that degree?",
    ),
    "M16": (
        "Where does the dominant lead?",
        "Does your chord go there, or back?",
    ),
    "M17": (
        "Which two voices move the same way here?",
        "Which interval do they make, before and after?",
    ),
    "M18": (
        "Which note of the dominant wants to move, and which way?",
        "How many voices have it, and where do they go?",
    ),
    "M19": (
        "How many beats does this place have?",
        "How many do your notes and rests add up to?",
    ),
    "M20": (
        "What does the given tune have here?",
        "Compare pitch and octave: what is different in yours?",
    ),
}
"""By code of the fault: what it is about, then where to look."""


def hints(tune: Tune, slot: Slot) -> Hints:
    """Return three hints on the chord of a slot; the last one is the answer.

    Which chords have this note? Which was the last chord? Then chord and reason.

    Args:
        tune: The tune.
        slot: A slot of its arrangement, with chord, reason and alternatives.
    """
    note = next(
        (n for n in tune.sounding if n.onset <= slot.onset < n.end and n.pitch), None
    )
    if note is None or note.pitch is None:
        first = "The tune rests here: which chord is still in the ear?"
    else:
        degree, alter = slot.key.degree(note.pitch.name)
        sign = {0: "", 1: "raised ", -1: "lowered "}.get(alter, "altered ")
        first = (
            f"The tune has the {sign}degree {degree} here: which chords of those that "
            "you know have this note?"
        )
    bar = tune.bar_at(slot.onset)
    strong = bar.time.weight(slot.onset - bar.start + bar.offset) > 1
    where = (
        "This is a strong beat, where a new chord sounds natural."
        if strong
        else "This is a weak beat, where the last one may stay."
    )
    second = f"Which was the last chord, and has it this note too? {where}"
    return first, second, _answer(slot)


def _answer(slot: Slot) -> str:
    if slot.chord is None:
        return "The tune goes alone here."
    others = [f"{own.chord} ({own.numeral})" for own in slot.alternatives]
    also = f" Right too: {', '.join(others)}." if others else ""
    reason = f": {slot.reason}" if slot.reason else "."
    return f"{slot.chord} ({slot.numeral}){reason}{also}"


def fault_hints(line: Line, marking: Marking) -> Hints:
    """Return three hints on a fault in a pupil's work; the last one is the remedy."""
    model = marking.task.model
    slot = slot_at(model.slots, line.onset)
    first, second, answer = hints(model.tune, slot)
    if line.kind.code in _QUESTIONS:
        first, second = _QUESTIONS[line.kind.code]
    chosen = line.kind.key in CHOICE_KEYS
    return first, second, answer if chosen else line.remedy

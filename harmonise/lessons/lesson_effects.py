"""Which options reach which drill, worksheet and marked task.

The counterpart of the table of options of a tune: each function returns, by the name of
an option, why it has no effect on what is made, in words after "has no effect". Options
stand in braces by their names.
"""

from harmonise.lessons.drill_copies import Version
from harmonise.lessons.worksheet import SheetKind
from harmonise.notation.files import SOUND

_NO_SHEET = " without {kind}"
_NO_DRILL = " on this task; it is for drills"
_OF_SLIPS = (
    "output", "style", "points", "out_of", "hints", "workers", "names", "register",
    "overrides", "paper", "large_print",
)  # fmt: skip
"""Options of slips; lists of faults that pupils found have none."""
OF_EARS = ("step", "about", "questions")
"""Options of questions by ear."""


def drill_reasons(ending: str, version: Version, unchanged: set[str]) -> dict[str, str]:
    """Return which options have no effect on a drill.

    Args:
        ending: Ending of its file.
        version: Which copy is made.
        unchanged: Options without which the exercises would be the same.
    """
    there = f" on a file that ends in {ending}"
    heard = ending in SOUND
    shown = f"{there}; it is for files to read" if heard else ""
    played = "" if heard else f"{there}; it is for MIDI"
    printed = "" if ending in (".pdf", ".png") else f"{there}; it is for .pdf"
    answer = version is Version.ANSWER
    named = "" if answer else " on this copy; it is for {copies} answer"
    fingers = " on answers, which have fingers anyway" if answer else ""
    return {
        **dict.fromkeys(unchanged, " on these exercises"),
        **dict.fromkeys(("paper", "landscape", "large_print"), printed),
        **dict.fromkeys(("count_in", "hand"), played),
        "copies": shown,
        "labels": shown or named,
        "fingering": shown or fingers,
        **dict.fromkeys(OF_EARS, " on these exercises; it is for D12"),
        "seed": " on these exercises; it is for D12",
    }


def sheet_reasons(kind: SheetKind) -> dict[str, str]:
    """Return which options have no effect on a worksheet of a kind."""

    def is_for(*kinds: SheetKind) -> str:
        if kind in kinds:
            return ""
        return f" on this kind of worksheet; it is for “{kinds[0].row.title}”"

    aural = kind is SheetKind.AURAL
    by_step = " on questions by ear, whose chords {step} chooses" if aural else ""
    no_chords = kind is SheetKind.TRANSPOSE
    chosen = " on a phrase to transpose, which has no chords" if no_chords else ""
    return {
        "labels": is_for(SheetKind.LABELS),
        "faults": is_for(SheetKind.FAULTS),
        "seed": is_for(SheetKind.FAULTS, SheetKind.AURAL) if kind.row.heard else "",
        "level": chosen or by_step,
        "harmonic_rhythm": chosen,
        **dict.fromkeys(OF_EARS, is_for(SheetKind.AURAL)),
    }


def task_reasons(
    kind: SheetKind | None, ending: str, *, drill: bool, several: bool
) -> dict[str, str]:
    """Return which options have no effect on marking works of one task.

    Args:
        kind: Kind of the worksheet; None for a tune or a drill.
        ending: Ending of the slip of one work; "" for none.
        drill: Whether a drill was asked for.
        several: Whether there are several works.
    """
    sheet = dict.fromkeys(
        ("sheet_version", "labels", "bars", "seed", "faults", "depth", *OF_EARS)
    )
    reasons = dict.fromkeys(sheet, "" if kind else _NO_SHEET)
    if kind:
        reasons |= sheet_reasons(kind)
    elif drill:
        there = " on a drill; it is for tunes"
        reasons |= dict.fromkeys(("ask", "level", "harmonic_rhythm", "part"), there)
    else:
        reasons |= dict.fromkeys(("key", "exercise"), _NO_DRILL)
    if kind is SheetKind.FAULTS:
        there = " on lists of faults, which are told here alone"
        reasons |= dict.fromkeys(_OF_SLIPS, there)
        return {**reasons, "start": _NO_DRILL, "ask": " beside {kind}"}
    unprinted = "" if several or ending == ".pdf" else " without a slip as .pdf"
    return {
        **reasons,
        "start": "" if drill and not kind else _NO_DRILL,
        "ask": reasons.get("ask", "") or (" beside {kind}" if kind else ""),
        "paper": unprinted,
        "large_print": unprinted,
        **dict.fromkeys(
            ("workers", "names", "register"), "" if several else " on one work"
        ),
    }

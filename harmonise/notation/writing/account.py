"""The whole account of an arrangement in plain text: each chord with its reason."""

from harmonise.theory.arrangement import Arrangement, Slot


def format_account(arrangement: Arrangement) -> str:
    """Return one line for each chord slot, and one for each other good chord.

    Args:
        arrangement: What was arranged.

    Returns:
        Lines such as "Bar 2, beat 1: F (IV). Tune A (6): of C, F and G only F has an
        A.", without a line end after the last.
    """
    return "\n".join(line for slot in arrangement.slots for line in _lines(slot))


def _lines(slot: Slot) -> list[str]:
    place = str(slot.place)
    head = f"{place[:1].upper()}{place[1:]}: "
    if slot.chord is None:
        return [head + slot.reason]
    reason = f"{slot.reason[:1].upper()}{slot.reason[1:]}"
    others = [
        f"    Also good: {other.chord} ({other.numeral}). {other.reason}"
        for other in slot.alternatives
    ]
    return [f"{head}{slot.chord} ({slot.numeral}). {reason}", *others]

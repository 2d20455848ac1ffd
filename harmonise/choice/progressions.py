"""How usual one triad after another is.

The chooser itself goes by fitted costs; these grades are what remarks speak of.
"""

from harmonise.theory.key import Mode

_USUAL, _FAIR, _POOR, _RETREAT = range(4)
RETREATS = frozenset({("V", "IV"), ("V", "ii"), ("V", "iv"), ("V", "ii°")})
_MAJOR_STEPS = {
    "I": ("IV V vi V/V V/IV V/ii V/vi", "ii iii iv"),
    "ii": ("V V/V", "IV vi"),
    "iii": ("IV vi", "ii V/vi"),
    "IV": ("I V ii V/V", "vi iv"),
    "V": ("I", "vi V/vi"),
    "vi": ("IV ii V/V V/ii", "I iii V"),
    "iv": ("I V", "IV"),
    "V/V": ("V", "I"),
    "V/IV": ("IV", "ii"),
    "V/ii": ("ii", "V/V"),
    "V/vi": ("vi", "IV"),
}
_MINOR_STEPS = {
    "i": ("iv V VI VII", "III ii° v IV V/iv"),
    "iv": ("i V", "VII ii° VI"),
    "ii°": ("V", "i"),
    "V": ("i", "VI"),
    "VI": ("iv VII", "III i ii° V"),
    "III": ("VI iv VII", "i V v"),
    "VII": ("III i", "VI v"),
    "v": ("i", "VI VII IV iv"),
    "IV": ("V i", "VII v"),
    "V/iv": ("iv", "IV"),
}


def grade_step(before: str, after: str, mode: Mode) -> int:
    """Return how usual one triad after another is: 0 usual, 1 fair, 2 poor, 3 V to IV.

    Source: common practice for major and minor; modes are free.
    """
    if before == after:
        return _USUAL
    if (before, after) in RETREATS and mode in (Mode.MAJOR, Mode.MINOR):
        return _RETREAT
    table = {Mode.MAJOR: _MAJOR_STEPS, Mode.MINOR: _MINOR_STEPS}.get(mode)
    if table is None or before not in table:
        return _USUAL
    usual, fair = table[before]
    if after in usual.split():
        return _USUAL
    return _FAIR if after in fair.split() else _POOR

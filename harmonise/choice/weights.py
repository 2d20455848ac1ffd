"""The weights of the choice beside the fitted table."""

from typing import NamedTuple


class Weights(NamedTuple):
    """Every weight of the choice beside the fitted table, in thousandths.

    Attributes:
        accented: A tune note of a beat or longer on a bar's first beat that is not in
            the chord; half of it on a slot's first beat elsewhere.
        syncopation: A chord begun on a weaker beat that is still there on a stronger.
        not_tonic_last: The last chord is not the tonic though the tune ends on 1 or 3.
        seventh: A seventh that the tune sounds itself (a gain).
        resolved: A dominant seventh that goes to its tonic (a gain).
        unresolved: A dominant seventh that does not go to I or vi.
        refigured: The same triad with another figure (V, then V7).
        cadential: A cadential 6/4 on a stronger beat than its V, near a close (a gain).
        retreat: V to IV or ii with a chord a beat (H12); folk arrangers do not mind.
        plagal: IV to I in the last two bars, where V to I is the usual close.
        motion: A semitone that an inner voice moves.
        parallel: A pair of voices in parallel fifths or octaves.
        with_bass: A fifth or octave with the left hand after another one, whichever
            way the left hand goes.
        revoiced: A right hand of other shape than the complete close triad.
    """

    accented: int = 800
    syncopation: int = 2000
    not_tonic_last: int = 1_000_000
    seventh: int = -300
    resolved: int = -150
    unresolved: int = 1170
    refigured: int = 100
    cadential: int = -400
    retreat: int = 1000
    plagal: int = 1500
    motion: int = 5
    parallel: int = 45
    with_bass: int = 30
    revoiced: int = 110


PLAIN_WEIGHTS = Weights()

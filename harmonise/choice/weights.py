"""What chords and voices cost beside the fitted table, for two hands and four parts.

Costs are whole thousandths on the table's own scale, where 1,000 is a factor of e in
chance; gains are negative. A million stands for what taste never outweighs.
"""

from typing import NamedTuple

FORBIDDEN = 1_000_000
"""Cost of what no taste outweighs, though no hard rule of the notes forbids it."""


class Weights(NamedTuple):
    """Every weight of the choice beside the fitted table, in thousandths.

    Attributes:
        accented: A tune note of a beat or longer on a bar's first beat that is not in
            the chord; half of it on a slot's first beat elsewhere.
        passed: A shorter first note of a slot that is not in the chord, and most of the
            slot with it.
        syncopation: A chord begun on a weaker beat that is still there on a stronger.
        not_tonic_last: The last chord is not the tonic though the tune ends on 1 or 3.
        seventh: A seventh that the tune sounds itself (a gain).
        resolved: A dominant seventh that goes to its tonic (a gain).
        unresolved: A dominant seventh that does not go to I or vi.
        refigured: The same triad with another figure (V, then V7).
        cadential: A cadential 6/4 on a stronger beat than its V, near a close (a gain).
        retreat: V to IV or ii (H12) within a line.
        plagal: IV to I in the last two bars, where V to I is the usual close; hymns
            close so as well.
        bare: A long foreign note of the tune that leads nowhere.
        clash: A chord note that has the letter of a tune note and another accidental.
        bright: The major IV of dorian where the tune has not its raised 6th.
        natural: VII of minor where the tune has not its natural 7th.
        no_close: A section that ends on 1 from 2, 5 or 7 without V-I.
        half_on_5: Going to V at the end of a line inside a section that ends on 5, and
            from IV under a long 5 that comes from 6.
        begin: A first full bar that begins on another chord than I where I has its
            first note (H01).
        half_close: A line inside the tune that ends on 2 or 7 over a chord that leads
            nowhere (H11).
        opening: A line that opens on V or VII where a chord of home holds its note.
        standing: A chord in minor or a mode that stays over a bar line.
        spare: A change of chord where only a close needs a slot; twice as much to
            chords of no close.
        rest: Leaving I under the last note of a line that ends on 5.
        motion: A semitone that an inner voice moves.
        parallel: A pair of voices in parallel fifths or octaves.
        with_bass: A fifth or octave with the left hand after another one, whichever
            way the left hand goes.
        revoiced: A right hand of other shape than the complete close triad.
    """

    accented: int = 1600
    passed: int = 1000
    syncopation: int = 2000
    not_tonic_last: int = FORBIDDEN
    seventh: int = -300
    resolved: int = -150
    unresolved: int = 1170
    refigured: int = 100
    cadential: int = -400
    retreat: int = 3500
    plagal: int = 1500
    bare: int = 4000
    clash: int = 2500
    bright: int = 3000
    natural: int = 1000
    no_close: int = 3000
    half_on_5: int = 3000
    rest: int = 4000
    spare: int = 1500
    opening: int = 2000
    begin: int = 6000
    half_close: int = 2000
    standing: int = 1400
    motion: int = 5
    parallel: int = 45
    with_bass: int = 30
    revoiced: int = 110


PLAIN_WEIGHTS = Weights()


class PartWeights(NamedTuple):
    """Every taste of the four parts, in thousandths, as the fitted table counts.

    Of one chord:

    Attributes:
        first: A first inversion.
        second: A second inversion (6/4, 4/3).
        third: A third inversion (4/2).
        diminished_root: A diminished triad in root position.
        open_end: A line that ends on an inversion.
        open_seventh: A line that ends on V7 though the tune has not its seventh.
        open_reach: An inversion where a line says its last note for the first time.
        open_close: An inversion before the last chord of a line.
        close: A last chord that is not in root position.
        last_but_one: An inversion before it.
        start: A first chord that is not in root position.
        begin: A first full bar that does not begin with I in root position.
        pickup: Another chord than I and V in the first pickup.
        doubled_fifth: The fifth doubled.
        doubled_major_third: The third of a major chord doubled.
        doubled_minor_third: The third of any other chord doubled.
        tripled: A member in three voices.
        no_fifth: The fifth left out.
        tenth: A left hand beyond the octave.
        low_close: Tenor and bass less than a fifth apart, the bass below C3.
        spread: Each semitone beyond a fourth between soprano and alto, or alto and
            tenor: close position sounds together.
        edge: A voice in the outermost tone of its range.

    From chord to chord:

    Attributes:
        smooth_bass: A step of the bass into or out of an inversion (a gain).
        loose_six_four: A 6/4 or 4/3 that is neither cadential nor reached and left by
            step or on a held bass.
        cadential: A 6/4 on a stronger beat that falls to V over the same bass (a gain).
        syncopation: The same chord over the same bass from a weaker to a stronger beat.
        shifted: The same chord over another bass from a weaker to a stronger beat.
        stale_bass: Another chord over the same bass note across a bar line.
        similar: Soprano and bass in similar motion.
        contrary: Soprano and bass in contrary motion (a gain).
        contrary_close: Octaves of tune and bass in contrary motion under 5-1, V to I.
        on_beats: Parallels from beat to beat that a passing note covers.
        frustrated: A leading note of an inner voice that falls to the fifth of I.
        soprano_leading: A leading note of the tune that does not rise.
        left_open: A leading note of another voice that does not rise as a line begins.
        cross: A note and its chromatic neighbour in different voices.
        astray: A chord that is bound to another (V/V to V, ii6/5 to V, vii° to I) and
            goes elsewhere inside a line; ii that goes to I.
        deceived: A secondary dominant that goes up a step, as V does to vi.
        weak_close: A line that closes on I from V or vii° over another bass, or in
            minor from v or VII.
        restless: A lower voice that moves within a chord while the tune holds its note.
        odd_end: A line that ends on ii, iii, vii° or v, not after its own dominant.
        leapt_bass: A leap of the bass to the seventh of a new chord (4/2).
    """

    first: int = 70
    second: int = 800
    third: int = 450
    diminished_root: int = 1500
    open_end: int = 6000
    open_seventh: int = 1500
    open_reach: int = 1500
    open_close: int = 400
    close: int = 1_000_000
    last_but_one: int = 1500
    start: int = 600
    begin: int = 6000
    pickup: int = 900
    doubled_fifth: int = 80
    doubled_major_third: int = 160
    doubled_minor_third: int = 50
    tripled: int = 120
    no_fifth: int = 160
    tenth: int = 50
    low_close: int = 250
    spread: int = 14
    edge: int = 30
    smooth_bass: int = -110
    loose_six_four: int = 4500
    cadential: int = -900
    syncopation: int = 1500
    shifted: int = 700
    stale_bass: int = 500
    similar: int = 25
    contrary: int = -25
    contrary_close: int = 300
    on_beats: int = 600
    frustrated: int = 250
    soprano_leading: int = 500
    left_open: int = 600
    cross: int = 500
    astray: int = 5000
    deceived: int = 1000
    weak_close: int = 6000
    restless: int = 250
    odd_end: int = 2500
    leapt_bass: int = 1500


PART_WEIGHTS = PartWeights()

_FAR = 2500
INNER_LEAPS = (
    0, 10, 15, 55, 65, 110, 500, 200, 420, 450, 1000, 1500, 800, _FAR,
)  # fmt: skip
"""What alto and tenor pay for moving so many semitones; the last for all that is more.

A common tone or a step is best, a sixth rare, a tritone and a seventh all but out.
"""
BASS_LEAPS = (
    30, 0, 0, 35, 35, 40, 400, 45, 130, 150, 1200, 1800, 90, _FAR,
)  # fmt: skip
"""The same for the bass, whose fourths, fifths and octaves are at home."""

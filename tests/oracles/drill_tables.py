"""Textbook tables of keyboard harmony, as printed, for the theory tests.

Common practice; `TWELVE_KEYS` is the drill I IV I V I from each starting position.
"""

NINE_VOICINGS = """
I  | C5 | E4 G4 C5 | first inversion  | 8 | 1 2 5
I  | E5 | G4 C5 E5 | second inversion | 9 | 1 3 5
I  | G4 | C4 E4 G4 | root position    | 7 | 1 3 5
IV | F4 | A3 C4 F4 | first inversion  | 8 | 1 2 5
IV | A4 | C4 F4 A4 | second inversion | 9 | 1 3 5
IV | C5 | F4 A4 C5 | root position    | 7 | 1 3 5
V  | G4 | B3 D4 G4 | first inversion  | 8 | 1 2 5
V  | B4 | D4 G4 B4 | second inversion | 9 | 1 3 5
V  | D5 | G4 B4 D5 | root position    | 7 | 1 3 5
"""
"""Chord in C, tune note, right hand, its position, span in semitones, fingers."""

LEAST_MOTION = """
C       | I  | IV | +0 +1 +2 | second, root, first
C       | IV | I  | +0 -1 -2 | first, second, root
C       | I  | V  | +0 -1 -2 | first, second, root
C       | V  | I  | +0 +1 +2 | second, root, first
C       | IV | V  | -1 -2 -3 | second, root, first
C       | V  | IV | +1 +2 +3 | first, second, root
C       | I  | vi | +0 +0 +2 | first, second, root
C       | vi | IV | +0 +0 +1 | first, second, root
C       | IV | ii | +0 +0 +2 | first, second, root
C       | ii | V  | +0 +2 +2 | second, root, first
A minor | i  | iv | +0 +1 +2 | second, root, first
A minor | i  | V  | +0 -1 -1 | first, second, root
A minor | iv | V  | -1 -1 -3 | second, root, first
"""
"""Key, change, moves of the three voices in some order, and the position that follows
root position, first inversion and second inversion."""

TWELVE_KEYS = """
C | C3 F2 G2 | C4 E4 G4 · C4 F4 A4 · B3 D4 G4 | E4 G4 C5 · F4 A4 C5 · D4 G4 B4 | G4 C5 E5 · A4 C5 F5 · G4 B4 D5
G | G2 C3 D3 | G4 B4 D5 · G4 C5 E5 · F#4 A4 D5 | B3 D4 G4 · C4 E4 G4 · A3 D4 F#4 | D4 G4 B4 · E4 G4 C5 · D4 F#4 A4
D | D3 G2 A2 | D4 F#4 A4 · D4 G4 B4 · C#4 E4 A4 | F#4 A4 D5 · G4 B4 D5 · E4 A4 C#5 | A4 D5 F#5 · B4 D5 G5 · A4 C#5 E5
A | A2 D3 E3 | A4 C#5 E5 · A4 D5 F#5 · G#4 B4 E5 | C#4 E4 A4 · D4 F#4 A4 · B3 E4 G#4 | E4 A4 C#5 · F#4 A4 D5 · E4 G#4 B4
E | E3 A2 B2 | E4 G#4 B4 · E4 A4 C#5 · D#4 F#4 B4 | G#4 B4 E5 · A4 C#5 E5 · F#4 B4 D#5 | B3 E4 G#4 · C#4 E4 A4 · B3 D#4 F#4
B | B2 E3 F#2 | B3 D#4 F#4 · B3 E4 G#4 · A#3 C#4 F#4 | D#4 F#4 B4 · E4 G#4 B4 · C#4 F#4 A#4 | F#4 B4 D#5 · G#4 B4 E5 · F#4 A#4 C#5
F# | F#2 B2 C#3 | F#4 A#4 C#5 · F#4 B4 D#5 · E#4 G#4 C#5 | A#4 C#5 F#5 · B4 D#5 F#5 · G#4 C#5 E#5 | C#4 F#4 A#4 · D#4 F#4 B4 · C#4 E#4 G#4
Db | Db3 Gb2 Ab2 | Db4 F4 Ab4 · Db4 Gb4 Bb4 · C4 Eb4 Ab4 | F4 Ab4 Db5 · Gb4 Bb4 Db5 · Eb4 Ab4 C5 | Ab4 Db5 F5 · Bb4 Db5 Gb5 · Ab4 C5 Eb5
Ab | Ab2 Db3 Eb3 | Ab4 C5 Eb5 · Ab4 Db5 F5 · G4 Bb4 Eb5 | C4 Eb4 Ab4 · Db4 F4 Ab4 · Bb3 Eb4 G4 | Eb4 Ab4 C5 · F4 Ab4 Db5 · Eb4 G4 Bb4
Eb | Eb3 Ab2 Bb2 | Eb4 G4 Bb4 · Eb4 Ab4 C5 · D4 F4 Bb4 | G4 Bb4 Eb5 · Ab4 C5 Eb5 · F4 Bb4 D5 | Bb4 Eb5 G5 · C5 Eb5 Ab5 · Bb4 D5 F5
Bb | Bb2 Eb3 F2 | Bb4 D5 F5 · Bb4 Eb5 G5 · A4 C5 F5 | D4 F4 Bb4 · Eb4 G4 Bb4 · C4 F4 A4 | F4 Bb4 D5 · G4 Bb4 Eb5 · F4 A4 C5
F | F2 Bb2 C3 | F4 A4 C5 · F4 Bb4 D5 · E4 G4 C5 | A4 C5 F5 · Bb4 D5 F5 · G4 C5 E5 | C4 F4 A4 · D4 F4 Bb4 · C4 E4 G4
"""  # noqa: E501 (one printed row a line)
"""Key, left hand of I IV V, then I · IV · V from root position, first and second."""


def rows(table: str) -> list[list[str]]:
    """Return the cells of a table, row by row."""
    lines = table.strip().splitlines()
    return [[cell.strip() for cell in line.split("|")] for line in lines]

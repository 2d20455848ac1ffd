"""Words and chords as text."""

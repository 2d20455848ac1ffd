"""Which chords and voicings: palettes, costs and one exact cheapest path."""

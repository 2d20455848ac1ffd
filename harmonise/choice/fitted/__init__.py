"""The table of chord costs fitted to human chords, and the facts that it weighs."""

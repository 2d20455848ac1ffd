"""Recordings of one line, sung, whistled or played: heard and written down."""

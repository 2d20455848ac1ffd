"""Recordings: a sampler with a few bundled piano notes, and WAV files."""

"""Beginnings and endings: what is played before, between and after the verses."""

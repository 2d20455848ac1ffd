"""Doors in: each reader turns one notation into a `Tune`."""

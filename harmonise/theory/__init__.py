"""Keyboard harmony as pure values and functions; standard library only."""

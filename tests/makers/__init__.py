"""Inputs that the tests make: tunes, scores, scripts, files, a page to visit."""

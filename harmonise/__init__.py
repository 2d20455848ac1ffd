"""Arrange a tune for two hands at the piano and keep the tune on top."""

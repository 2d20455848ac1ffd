"""The score in words, for readers: written and read back."""

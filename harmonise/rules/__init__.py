"""The rules of keyboard harmony, once for all who ask."""

"""Tonic sol-fa: read and written."""

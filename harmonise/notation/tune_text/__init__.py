"""The tune text: read and written."""

"""ABC: read and written."""

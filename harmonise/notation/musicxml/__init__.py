"""MusicXML: read and written."""

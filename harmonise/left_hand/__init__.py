"""The left hand: its patterns in one table, and what each plays."""

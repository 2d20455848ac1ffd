"""What sounds: an arrangement as it is performed, and recordings of it."""

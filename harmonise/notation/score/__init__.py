"""What a printed score says, before any format."""

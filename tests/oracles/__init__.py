"""Second answers: readers and reckoners that share no code with the package."""

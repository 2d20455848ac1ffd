"""Reading and writing notation; the only home of third-party notation code."""

"""Ways out: each writer turns an `Arrangement` into one notation."""

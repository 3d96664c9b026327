"""Error of the readings on scenes with known truth, also with single steps of the measurement left out."""

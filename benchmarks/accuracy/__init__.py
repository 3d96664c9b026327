"""How wrong the readings are on scenes with known truth, and what each step of the measuring is worth."""

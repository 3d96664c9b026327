"""How good is the forecast: simulated farms, records with known truth, baselines, coverage, reliability."""

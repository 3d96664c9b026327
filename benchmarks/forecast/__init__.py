"""Measure the forecast on simulated farms and on records with known truth, compared with simple baselines."""

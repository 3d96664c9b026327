"""Measure the forecast on simulated farms and on records with known truth, beside simple baselines."""

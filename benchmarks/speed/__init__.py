"""Time to read one photo and to start the command: `python -m benchmarks.speed`."""

"""How fast one photo is read and the command starts: `python -m benchmarks.speed`."""

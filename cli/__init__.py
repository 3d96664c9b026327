"""The command `spawnrun`: parse, call, print; nothing is computed here."""

from cli.main import main, run

__all__ = ["main", "run"]

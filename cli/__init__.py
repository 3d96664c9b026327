"""The command `spawnrun`: parse, call, print; nothing is computed here."""

import os

# The library reads this when it is first used. Without it, it looks through every installed package for its plugins.
os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")

from cli.main import main, run

__all__ = ["main", "run"]

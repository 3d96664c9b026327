"""The version of this program."""

from functools import cache
from importlib.metadata import version


@cache
def program_version() -> str:
    """The version that is installed; looked up once, since that reads a file."""
    return version("spawnrun")

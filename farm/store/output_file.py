"""Files and folders that a user asks for: only where their folder is there."""

from pathlib import Path

from farm.store.errors import OutputPathError


def output_file(target: Path, *suffixes: str) -> Path:
    """The path of a file to be written. Raises OutputPathError where its folder is missing or its ending is another.

    suffixes: allowed endings in lower case, such as ".pdf"; none allows any.
    """
    if suffixes and target.suffix.lower() not in suffixes:
        raise OutputPathError(f"{target}: the name must end in {' or '.join(suffixes)}")
    if not target.parent.exists():
        raise OutputPathError(f"{target}: cannot be written: there is no folder {target.parent}; make it first")
    return target

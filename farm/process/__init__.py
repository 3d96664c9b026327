"""What a worker process does first: it loads nothing large before it watches its parent."""

from farm.process.start import start_worker

__all__ = ["start_worker"]

"""Jobs handed to worker processes or to a cluster, and their answers in order."""

from farm.workers.cluster import cluster_executor
from farm.workers.jobs import Work, all_cores, end_workers, interrupts_held, own_workers, run_jobs
from farm.workers.shared import Shared

__all__ = [
    "Shared",
    "Work",
    "all_cores",
    "cluster_executor",
    "end_workers",
    "interrupts_held",
    "own_workers",
    "run_jobs",
]

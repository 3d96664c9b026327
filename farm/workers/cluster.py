"""A run on many machines: an executor whose workers are on a Dask cluster."""

import logging
from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import contextmanager

from farm.store import program_version
from farm.store.errors import ClusterError

_WAIT_SECONDS = 10


@contextmanager
def cluster_executor(address: str) -> Iterator[tuple[Executor, int]]:
    """An executor on the cluster of a scheduler such as tcp://10.0.0.5:8786, and how many jobs it does at once.

    Raises ClusterError where the library is not installed, the scheduler does not answer, has no workers, or they run
    another version of this program.
    """
    try:
        from distributed import Client
    except ModuleNotFoundError:
        raise ClusterError("a cluster needs a library: python -m pip install distributed") from None
    # Its own lines on each lost connection say nothing that we do not.
    logging.getLogger("distributed").setLevel(logging.CRITICAL)
    try:
        client = Client(address, timeout=_WAIT_SECONDS, set_as_default=False)
    except (OSError, ValueError, TypeError):  # no answer in time is an OSError too
        raise ClusterError(f"no Dask scheduler answers at {address} (such as tcp://10.0.0.5:8786)") from None
    try:
        _check_workers(address, client.run(_version_here, on_error="return"))
        yield client.get_executor(pure=False), sum(client.nthreads().values())
    finally:
        client.close()


def _version_here() -> str:
    """Run on a worker: the version of this program there."""
    return program_version()


def _check_workers(address: str, versions: dict[str, object]) -> None:
    if not versions:
        raise ClusterError(f"the scheduler at {address} has no workers: start some with `dask worker {address}`")
    here = _version_here()
    strange = {worker: found for worker, found in versions.items() if found != here}
    if strange:
        worker, found = next(iter(strange.items()))
        there = f"spawnrun {found}" if isinstance(found, str) else f"no spawnrun that can be loaded ({found})"
        count = f"{len(strange)} of {len(versions)} workers of {address}"
        raise ClusterError(f"{count} cannot do the work: {worker} has {there}, this is {here}")

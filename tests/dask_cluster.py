"""A Dask cluster of worker processes on this machine, for a while."""

from collections.abc import Iterator
from contextlib import contextmanager

from distributed import Client, LocalCluster


@contextmanager
def clustered(workers: int = 2) -> Iterator[Client]:
    """So many worker processes, and a client of them.

    Its pages are at any free port: at Dask's own only one cluster of a machine can have them, and another warns.
    """
    with (
        LocalCluster(  # type: ignore[no-untyped-call]  # of a library without types
            n_workers=workers,
            threads_per_worker=1,
            host="127.0.0.1",
            dashboard_address=None,
            scheduler_kwargs={"dashboard_address": "127.0.0.1:0"},
        ) as cluster,
        Client(cluster) as client,  # type: ignore[no-untyped-call]  # as above
    ):
        yield client

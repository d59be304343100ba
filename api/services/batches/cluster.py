"""Parts of a batch decided on a Dask cluster, however many of its workers are lost meanwhile.

Choice: one part is one task. A worker reads the part, decides it with the kernel of every other
way, writes the decided part and answers with its totals, so that no rows travel through the
scheduler. A part whose worker is lost is given to another one and written again, under the same
name, with the same content. Workers need the package installed, in the same version, and must see
the files under the same paths.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from api.errors import TraceholdError
from api.services.batches.derived import Specify, no_specifications
from api.services.batches.masks import Explain
from api.services.batches.parts import Done, Job, decide_part

PATIENCE_S = 20


class ClusterError(TraceholdError):
    """The cluster cannot be used; the text says why and what helps."""

    code = "cluster"


def decided_on_cluster(
    address: str,
    jobs: Sequence[Job],
    explain: Explain,
    specify: Specify = no_specifications,
) -> Iterator[Done]:
    """Decide parts on the workers of a scheduler; yields them in their order.

    Raises ClusterError if there is no cluster at the address or it fails; InvalidRecord for a part
    that cannot be read.
    """
    try:
        import distributed
        from distributed.comm.core import CommClosedError
    except ModuleNotFoundError as error:
        detail = f"--dask needs the extra [dask]: pip install 'tracehold[dask]' ({error})"
        raise ClusterError(detail) from error
    library: Any = distributed  # publishes types for a part only
    try:
        client = library.Client(address, timeout=PATIENCE_S, set_as_default=False)
    except (OSError, ValueError) as error:
        raise ClusterError(f"no Dask scheduler answers at {address}: {error}") from error
    with client:
        try:
            client.wait_for_workers(1, timeout=PATIENCE_S)
        except TimeoutError as error:
            raise ClusterError(f"the scheduler at {address} has no workers") from error
        waiting = client.map(decide_part, jobs, explain=explain, specify=specify, pure=False)
        for job, future in zip(jobs, waiting, strict=True):
            name = job.name or job.part
            try:
                yield future.result()
            except library.KilledWorker as error:
                raise ClusterError(f"{name} ended every worker that tried it: {error}") from error
            except ModuleNotFoundError as error:
                detail = f"a worker cannot import what it needs ({error}); install Tracehold there"
                raise ClusterError(detail) from error
            except (CommClosedError, library.CancelledError) as error:
                raise ClusterError(f"the scheduler at {address} was lost: {error}") from error
            except OSError as error:
                detail = f"{name}: {error}; workers must see the files under the same paths"
                raise ClusterError(detail) from error
            future.release()  # what is on disk need not be made again if its worker is lost

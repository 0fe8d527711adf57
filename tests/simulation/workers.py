# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Work shared by processes, one for each core."""
import concurrent.futures
import contextlib
import multiprocessing
import os

AHEAD = 200  # jobs that are handed out before their results are asked for


@contextlib.contextmanager
def pool():
    """A pool of workers, one for each core; none of them computes with several threads."""
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    workers = concurrent.futures.ProcessPoolExecutor(len(os.sched_getaffinity(0)), multiprocessing.get_context("spawn"))
    try:
        yield workers
    finally:
        workers.shutdown(cancel_futures=True)


def ordered(workers, jobs):
    """The results of (function, arguments...) in order; not all are handed out at once."""
    waiting = []
    for job in jobs:
        waiting.append(workers.submit(*job))
        if len(waiting) > AHEAD:
            yield waiting.pop(0).result()
    for future in waiting:
        yield future.result()

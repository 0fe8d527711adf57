# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Work shared by processes, one for each core."""
import argparse
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
    workers = concurrent.futures.ProcessPoolExecutor(
        len(os.sched_getaffinity(0)), multiprocessing.get_context("spawn")
    )
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


def options(text):
    """A parser of the command line of a tool with this description; it knows --program, and read()
    takes it."""
    parser = argparse.ArgumentParser(
        description=text, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument(
        "--program", metavar="PATH", help="the program to measure (else the environment's TIPTRUE)"
    )
    parser.add_argument("--write", action="store_true", help="shorten the list of what is known")
    return parser


def read(parser, arguments=None):
    """The command line (else @arguments); the program's path is then in the environment, where the
    workers find it."""
    given = parser.parse_args(arguments)
    if given.program:
        os.environ["TIPTRUE"] = os.path.abspath(given.program)
    if not os.path.isfile(os.environ.get("TIPTRUE", "")):
        parser.error("no program: name one by --program or TIPTRUE")
    return given

"""The command line of a benchmark that prints a table row by row, each from campaigns on a pool of processes."""

import argparse
import multiprocessing
import os
from collections.abc import Callable, Iterator
from multiprocessing.pool import Pool

Lines = Callable[[Pool, int, int, str], Iterator[str]]
"""Pool, campaigns a row, seed, and a word that a row's name holds, to the rows of the table."""


def print_rows(about: str | None, head: str, lines: Lines, *, campaigns: int, seed: int) -> None:
    """Print `head` and each row as it is done; the numbers are what is run where nothing else is asked."""
    parser = argparse.ArgumentParser(description=about, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--campaigns", type=int, default=campaigns)
    parser.add_argument("--seed", type=int, default=seed)
    parser.add_argument("--only", default="", help="rows whose name holds this")
    parser.add_argument("--processes", type=int, default=2)
    asked = parser.parse_args()
    os.environ["POLARS_MAX_THREADS"] = "1"
    print(head, flush=True)
    with multiprocessing.get_context("spawn").Pool(asked.processes) as pool:
        for each in lines(pool, asked.campaigns, asked.seed, asked.only):
            print(each, flush=True)

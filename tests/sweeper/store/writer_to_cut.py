"""A process that stores passes, finishes days and says on standard output what has been promised. Cut in tests.

Run as ``python writer_to_cut.py FOLDER PASSES``: a pass every three hours, days finished after each fourth pass.
"""

import os
import sys
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sweeper.store import Store

ROOT = Path(__file__).parents[3]


def main(folder: Path, passes: int) -> None:
    from sweeper.store import StoreError
    from tests.sweeper.store.nights import open_store

    try:
        with open_store(folder) as store:
            keep_storing(store, passes)
    except StoreError as error:
        say(f"refused {error}")
        sys.exit(1)
    say("closed")


def keep_storing(store: "Store", passes: int) -> None:
    from tests.sweeper.store.nights import EVENING, pass_of, spectra_of

    say("opened")
    for _ in range(passes):
        number = store.next_pass_number()
        started = EVENING + timedelta(hours=3 * number)
        store.write_pass(*pass_of(number, started), spectra_of(number, started))
        say(f"stored {number}")
        if number % 3 == 0:
            store.remember("as found", number)
            say(f"remembered {number}")
        if number % 4 == 0:
            store.finish_days(started)
            say(f"finished {number}")


def say(text: str) -> None:
    os.write(1, f"{text}\n".encode())


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))
    main(Path(sys.argv[1]), int(sys.argv[2]))

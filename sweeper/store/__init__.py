"""Where readings are kept. The only part that knows the files in a station's data folder."""

from sweeper.store.ab_tests import keep_ab_test, kept_ab_tests
from sweeper.store.csv_in import import_csv
from sweeper.store.days import day_of, day_starts
from sweeper.store.errors import BadRows, StoreError, Unclear
from sweeper.store.export import write_csv, write_parquet
from sweeper.store.files import make_folder, replace_whole, replacing, write_new
from sweeper.store.noise import keep_noise, kept_noise
from sweeper.store.records import Note
from sweeper.store.store import Store

__all__ = [
    "BadRows",
    "Note",
    "Store",
    "StoreError",
    "Unclear",
    "day_of",
    "day_starts",
    "import_csv",
    "keep_ab_test",
    "keep_noise",
    "kept_ab_tests",
    "kept_noise",
    "make_folder",
    "replace_whole",
    "replacing",
    "write_csv",
    "write_new",
    "write_parquet",
]

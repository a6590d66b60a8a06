"""Readings from a table of text: as `export` writes it, or as somebody kept it in a spreadsheet."""

from sweeper.store.csv_in.asked import Asked, FrequencyUnit, LevelUnit
from sweeper.store.csv_in.importing import Taken, import_csv, read_csv
from sweeper.store.csv_in.layout import MEANINGS
from sweeper.store.csv_in.template import template_of

__all__ = [
    "MEANINGS",
    "Asked",
    "FrequencyUnit",
    "LevelUnit",
    "Taken",
    "import_csv",
    "read_csv",
    "template_of",
]

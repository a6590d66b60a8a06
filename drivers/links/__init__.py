"""How bytes reach an instrument: serial ports and TCP behind one small contract.

Public: `LinkOptions`, `open_link`, `Link`, `Reader`. Nothing here knows what the bytes mean.
"""

from drivers.contracts import Reader
from drivers.links.link import Link
from drivers.links.options import LinkOptions
from drivers.links.sharing import open_link

__all__ = ["Link", "LinkOptions", "Reader", "open_link"]

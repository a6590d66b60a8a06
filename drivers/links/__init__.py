"""How bytes reach an instrument: serial ports and TCP behind one small contract.

Public: `LinkOptions`, `open_link`, `GatedLink`, `Reader`. Nothing here knows what the bytes mean; what may be said is
decided by the gate that comes with each link.
"""

from drivers.contracts import Reader
from drivers.links.options import LinkOptions
from drivers.links.sharing import GatedLink, open_link

__all__ = ["GatedLink", "LinkOptions", "Reader", "open_link"]

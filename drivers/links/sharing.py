"""One port, several drivers: within this process there is one link to an address.

The receiver's own preamplifier can be the stage; then receiver and switch speak over the same line. Whoever
closes the link closes the port; the other's next exchange opens it again.
"""

import threading
from weakref import WeakValueDictionary

from drivers.links.link import Link
from drivers.links.options import LinkOptions

_lock = threading.Lock()
_links: WeakValueDictionary[str, Link] = WeakValueDictionary()


def open_link(options: LinkOptions, part: str) -> Link:
    """The link to `options.link`, connected. `part` names the instrument in messages to a person.

    The first to open an address decides the shape of its serial line. LinkLost when it cannot be reached.
    """
    with _lock:
        link = _links.get(options.link)
        if link is None:
            link = _links[options.link] = Link(options, part)
    link.connect()
    return link

"""One port, several drivers: within this process there is one link to an address, and a gate before it.

The receiver's own preamplifier can be the stage; then receiver and switch speak over the same line, through the same
gate. Whoever closes the link closes the port; the other's next exchange opens it again.
"""

import threading
from collections.abc import Callable
from typing import TypeVar
from weakref import WeakKeyDictionary, WeakValueDictionary

from drivers.contracts import Gate, Reader
from drivers.errors import Refused
from drivers.links.link import Link
from drivers.links.options import LinkOptions

T = TypeVar("T")

_lock = threading.Lock()
_links: WeakValueDictionary[str, Link] = WeakValueDictionary()
_gates: WeakKeyDictionary[Link, Gate] = WeakKeyDictionary()


class GatedLink:
    """A link that says nothing its gate does not let through. The only way from a driver to a link's bytes."""

    def __init__(self, link: Link, gate: Gate) -> None:
        self._link = link
        self._gate = gate

    def exchange(self, request: bytes, read: Reader[T]) -> T:
        """`Link.exchange`, unless the gate refuses `request`: then `Refused`, and nothing was sent."""
        self._gate(request)
        return self._link.exchange(request, read)

    def send(self, request: bytes) -> None:
        """`Link.send`, unless the gate refuses `request`: then `Refused`, and nothing was sent."""
        self._gate(request)
        self._link.send(request)

    def on_connect(self, greeting: Callable[[], None]) -> None:
        """Run `greeting` whenever the link has come back, before anything else is sent."""
        self._link.on_connect(greeting)

    def forget(self, greeting: Callable[[], None]) -> None:
        """No longer run `greeting`."""
        self._link.forget(greeting)

    def close(self) -> None:
        """Close the port; the next exchange opens it again. Never raises."""
        self._link.close()


def open_link(options: LinkOptions, part: str, gate: Gate) -> GatedLink:
    """The link to `options.link`, connected, behind `gate`. `part` names the instrument in messages to a person.

    Who finds an address closed and opens it decides the shape of its serial line, its patience and the gate; nothing
    is left of what an earlier one said. LinkLost when it cannot be reached, Refused when it is held open behind
    another gate: then two different instruments would share it.
    """
    with _lock:
        link = _links.get(options.link)
        if link is None or (_gates[link] != gate and not link.is_open):
            link = _links[options.link] = Link(options, part)
            _gates[link] = gate
        elif _gates[link] != gate:
            raise Refused(
                part,
                f"another instrument of another kind is already on {options.link}.",
                "Each needs a link of its own; mend the links in the station file.",
            )
    link.connect(options)
    return GatedLink(link, gate)

"""Messages to a person's phone or mailbox: one in the morning, and one at once for what needs a hand.

The measuring thread only says that something is to be told. A thread of its own has it sent by a process of its own,
which is ended when it takes too long.
"""

from sweeper.notify.addresses import addresses_in
from sweeper.notify.sending import Sender
from sweeper.notify.watch import Message, Watch

__all__ = ["Message", "Sender", "Watch", "addresses_in"]

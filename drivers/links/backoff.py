"""How long to wait between attempts to get a lost link back. Pure: random numbers are a parameter."""

from collections.abc import Callable, Iterator


def backoff_s(
    total_s: float, dice: Callable[[], float], first_s: float = 0.05, most_s: float = 2.0
) -> Iterator[float]:
    """Waits in seconds that double from `first_s` up to `most_s`, and add up to `total_s` at the most.

    `dice` gives numbers in [0, 1). Each wait is drawn between half and all of its nominal value, so that
    programs that lost the same instrument together do not all knock together.
    """
    nominal_s, left_s = first_s, total_s
    while left_s > 0:
        wait_s = min(nominal_s * (0.5 + 0.5 * dice()), left_s)
        yield wait_s
        left_s -= wait_s
        nominal_s = min(nominal_s * 2, most_s)

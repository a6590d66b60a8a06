"""Where the next visits should go: most to bands that are open and can be settled, a guard share to all."""

from collections.abc import Mapping, Sequence

from sweeper.analysis.verdict.outlook import Outlook

GUARD_SHARE = 0.2


def effort(outlook: Sequence[Outlook], guard_share: float = GUARD_SHARE) -> dict[str, float]:
    """Share of the visits for each band, summing to 1: most to bands that visits can settle, a guard share over all.

    The guard share keeps watch on the others: a season or a fault may change them.
    """
    if not outlook:
        return {}
    still_open = [each.band for each in outlook if not each.decided and each.can_be_settled]
    even = 1.0 / len(outlook)
    if not still_open:
        return {each.band: even for each in outlook}
    return {
        each.band: guard_share * even + (1.0 - guard_share) * (each.band in still_open) / len(still_open)
        for each in outlook
    }


def bands_due(shares: Mapping[str, float], turn: int) -> frozenset[str]:
    """The bands to visit at this turn (a number that grows by one a pass): each as often as its share of the largest.

    Every band comes at turn 0, and no band waits longer than the largest share over its own.
    """
    most = max(shares.values(), default=0.0)
    ratios = {band: share / most for band, share in shares.items() if most > 0}
    return frozenset(
        band for band, ratio in ratios.items() if int(turn * ratio) > int((turn - 1) * ratio) or turn == 0
    )

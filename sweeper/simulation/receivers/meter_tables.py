"""What the dots of real receivers' meters stand for: (dots, dB over S9), as hamlib's calibration tables have them.

They bend, as real meters do. Data only.
"""

from bisect import bisect_left

Table = tuple[tuple[float, float], ...]

TS480: Table = ((0, -60), (3, -48), (5, -36), (7, -24), (9, -12), (11, 0), (14, 20), (17, 40), (20, 60))
TS590S: Table = ((0, -54), (3, -48), (6, -36), (9, -24), (12, -12), (15, 0), (20, 20), (25, 40), (30, 60))
K3: Table = (
    (0, -54), (1, -42), (2, -36), (3, -24), (4, -12), (5, -6), (6, 0), (7, 10), (8, 15), (9, 20), (10, 30),
    (11, 35), (12, 40), (13, 50), (14, 55), (15, 60),
)  # fmt: skip
K3_FINE: Table = (
    (0, -54), (5, -48), (9, -42), (14, -36), (22, -30), (24, -24), (28, -18), (33, -12), (38, -6), (42, 0), (47, 5),
    (53, 10), (58, 15), (63, 20), (68, 25), (73, 30), (78, 35), (83, 40), (88, 45), (93, 50), (98, 55), (103, 60),
)  # fmt: skip
ICR75: Table = (
    (0, -60), (37, -54), (52, -48), (61, -42), (72, -36), (86, -30), (95, -24), (109, -18), (124, -12), (128, -6),
    (146, 0), (166, 10), (186, 20), (199, 30), (225, 40), (233, 50), (255, 60),
)  # fmt: skip
IC7300: Table = ((0, -54), (10, -48), (30, -36), (60, -24), (90, -12), (120, 0), (241, 64))
ICR8600: Table = ((0, -60), (255, 60))


def dots(table: Table, level_db: float) -> int:
    """What a meter with that table shows at a level in dB over S9."""
    right = bisect_left(table, level_db, key=lambda point: point[1])
    if right == 0:
        return round(table[0][0])
    if right == len(table):
        return round(table[-1][0])
    (d0, l0), (d1, l1) = table[right - 1], table[right]
    return round(d0 + (d1 - d0) * (level_db - l0) / (l1 - l0))

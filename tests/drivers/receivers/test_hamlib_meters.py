"""Which of hamlib's two meters is the finer, and what its table is worth."""

from itertools import pairwise
from types import SimpleNamespace

import pytest

from drivers.receivers.hamlib import DRIVER, Options
from drivers.receivers.hamlib_meters import TwoMeters, fractions, tables
from sweeper.daemon.meter_check import finer_meter
from sweeper.simulation import saltmarsh, serve
from tests.clocks import evening
from tests.whole.peers import rigctld

IC_7300 = 3073


def test_the_tables_rise_and_step_finely_where_noise_is() -> None:
    """S4 is 30 dB under S9, 6 dB a unit (IARU Region 1 Technical Recommendation R.1)."""
    assert len(tables()) == 36
    for table in tables().values():
        assert len(table) >= 4
        assert all(after[0] > before[0] and after[1] > before[1] for before, after in pairwise(table))
        near = next((low, high) for low, high in pairwise(table) if low[1] <= -30 <= high[1])
        assert (near[1][1] - near[0][1]) / (near[1][0] - near[0][0]) <= 0.5


@pytest.mark.parametrize(
    ("strength", "raw", "finer", "count_db"),
    [((-42.0, -41.0), (20.0, 21.0), True, 0.6), ((-36.0,), (90.0,), False, 0.4), ((-24.0,), (), False, None)],
)
def test_a_table_counts_where_it_explains_what_both_read(
    strength: tuple[float, ...], raw: tuple[float, ...], finer: bool, count_db: float | None
) -> None:
    """By the table, 30 counts are -36 dB and 90 are -12: a server that reads -36 at 90 counts has another table."""
    both = TwoMeters(strength, raw, tables()[IC_7300])
    assert both.finer is finer
    assert (both.count_db == pytest.approx(count_db)) if count_db else both.count_db != both.count_db


def test_the_curve_is_the_table_with_s9_at_73_dbm_below_a_milliwatt() -> None:
    assert TwoMeters((), (), ((0.0, -54.0), (120.0, 0.0))).curve == ((0.0, -127.0), (120.0, -73.0))


def test_fractions_are_no_strength_of_hamlibs() -> None:
    assert fractions([-54.0, -87.4]) and not fractions([-54.0, 20.0])


def test_without_a_table_the_finer_meter_is_told_by_how_many_values_it_takes() -> None:
    def told(*raw: float) -> str:
        both = TwoMeters((-54.0, -54.0, -53.0, -54.0, -54.0), raw)
        return finer_meter(SimpleNamespace(two_meters=lambda: both))

    assert "may be finer" in told(3.0, 4.0, 6.0, 5.0, 2.0) and "calibrate --pad" in told(
        3.0, 4.0, 6.0, 5.0, 2.0
    )
    assert told(3.0, 3.0, 4.0, 3.0, 3.0) == ""


@pytest.mark.wires
def test_hamlibs_own_server_of_a_model_on_the_list_shows_the_finer_meter() -> None:
    """rigctld in front of a simulated receiver: its model number, both meters, and the table that joins them."""
    with serve(saltmarsh(), evening(), receiver="ic7300", ours=False) as served:
        device = served.receiver_link.removeprefix("tcp://")
        with rigctld(IC_7300, device=device) as port:
            receiver = DRIVER.open(Options(link=f"tcp://127.0.0.1:{port}"))
            try:
                both = receiver.two_meters()
            finally:
                receiver.close()
    assert both is not None and both.table == tables()[IC_7300]
    assert both.finer and both.count_db <= 0.6 and not fractions(both.strength)
    assert "write level: RAWSTR" in finer_meter(SimpleNamespace(two_meters=lambda: both))


@pytest.mark.wires
def test_a_program_that_counts_from_full_scale_is_seen_to() -> None:
    with serve(saltmarsh(), evening(), receiver="net-plain") as served:
        receiver = DRIVER.open(Options(link=served.receiver_link, timeout_s=0.5, receive_only=True))
        try:
            both = receiver.two_meters()
        finally:
            receiver.close()
    assert both is not None and fractions(both.strength) and not both.raw and not both.finer

"""Which of hamlib's two meters is the finer, and what its table is worth."""

from itertools import pairwise
from types import SimpleNamespace

import pytest

from drivers.receivers.hamlib import DRIVER, Options
from drivers.receivers.hamlib_meters import TwoMeters, fractions, look, tables
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


BENT = ((0.0, -54.0), (100.0, -4.0), (120.0, 36.0))
"""Half a decibel a count, and two at the top."""


@pytest.mark.parametrize(
    ("raw", "count_db"), [(-10.0, 0.5), (0.0, 0.5), (50.0, 0.5), (100.0, 0.5), (101.0, 2.0), (500.0, 2.0)]
)
def test_a_count_is_worth_what_the_table_says_there(raw: float, count_db: float) -> None:
    assert TwoMeters((0.0,), (raw,), BENT).count_db == pytest.approx(count_db)


@pytest.mark.parametrize(
    ("raw", "reads_db"),
    [(-5.0, -54.0), (0.0, -54.0), (30.0, -39.0), (100.0, -4.0), (105.0, 6.0), (200.0, 36.0)],
)
def test_both_are_one_meter_within_four_decibels_of_the_table(raw: float, reads_db: float) -> None:
    flat = tuple((low, db / 4.0) for low, db in BENT)  # finer than a decibel everywhere
    for off_db, one in ((3.9, True), (-3.9, True), (4.1, False), (-4.1, False)):
        assert TwoMeters((reads_db / 4.0 + off_db,), (raw,), flat).finer is one


def test_the_middle_of_several_readings_counts_and_coarse_counts_are_not_finer() -> None:
    assert TwoMeters((-39.0, -39.0, 20.0), (30.0, 30.0, 30.0), BENT).finer
    assert not TwoMeters((-39.0, 20.0, 20.0), (30.0, 30.0, 30.0), BENT).finer
    assert not TwoMeters((36.0,), (120.0,), BENT).finer  # two decibels a count


def test_a_finer_meter_is_told_with_what_to_write_and_one_that_is_not_is_not() -> None:
    def told(both: TwoMeters | None) -> str:
        return finer_meter(SimpleNamespace(two_meters=lambda: both))

    said = told(TwoMeters((-39.0,), (30.0,), BENT))
    assert "0.5 dB a count" in said and "curve: [[0, -127], [100, -77], [120, -37]]" in said
    assert told(None) == ""
    many = (1.0, 2.0, 3.0, 4.0, 5.0)
    assert told(TwoMeters((20.0,) * 5, many, BENT)) == ""  # the table is another meter's
    assert told(TwoMeters((-54.0, -53.0, -52.0, -54.0, -54.0), (1.0, 2.0, 3.0, 4.0, 4.0))) == ""
    assert "may be finer" in told(TwoMeters((-54.0, -53.0, -52.0, -54.0, -54.0), many))


class Server:
    """What a server says it has, and what it answers; `extended`: replies with their headers."""

    def __init__(self, *meters: str, model: object = IC_7300, extended: bool = True) -> None:
        self.meters, self.extended, self.model, self.asked = meters, extended, model, list[str]()

    def has_meter(self, name: str) -> bool:
        return name in self.meters

    def call(self, *words: str, parse: object) -> str:
        return words[-1]

    def ask(self, call: str) -> float:
        self.asked.append(call)
        return {"STRENGTH": -42.0, "RAWSTR": 20.0}[call] + len(self.asked)

    def try_to_ask(self, call: str) -> object:
        assert call == "dump_caps"
        return self.model


def test_meters_are_looked_at_in_pairs_and_the_table_is_the_models() -> None:
    both = look(Server("STRENGTH", "RAWSTR"))
    assert both is not None and both.table == tables()[IC_7300]
    assert (len(both.strength), len(both.raw)) == (5, 5)
    assert all(raw - strength == 63.0 for strength, raw in zip(both.strength, both.raw, strict=True))
    assert look(Server("RAWSTR")) is None
    alone = look(Server("STRENGTH"))
    assert alone is not None and (len(alone.strength), alone.raw, alone.table) == (5, (), ())
    for server in (Server("STRENGTH", "RAWSTR", extended=False), Server("STRENGTH", "RAWSTR", model=None),
                   Server("STRENGTH", "RAWSTR", model=1)):  # fmt: skip
        untold = look(server)
        assert untold is not None and untold.table == () and untold.raw

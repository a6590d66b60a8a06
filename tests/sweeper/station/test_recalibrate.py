"""A new curve goes into the station file, dated; nothing a person wrote is lost."""

from datetime import date

from ruamel.yaml import YAML

from sweeper.station.recalibrate import with_curve

TEXT = """\
station:
  name: Saltmarsh   # by the dyke
receiver:
  driver: hamlib
  meter:
    unit: dB-over-S9
    # the meter sticks in the cold
    curve: []
    s9_dbm: -73
bands:
  - name: 40 m   # quiet end
"""


def test_the_curve_is_written_and_everything_else_stays():
    made = with_curve(
        TEXT, [(-54.0, -127.0), (0.0, -73.5)], date(2026, 11, 25), {"uncertainty_db": 0.8}, 12.0
    )
    meter = YAML(typ="safe").load(made)["receiver"]["meter"]
    assert meter["curve"] == [[-54.0, -127.0], [0.0, -73.5]]
    assert meter["uncertainty_db"] == 0.8
    assert "# calibrated 2026-11-25 at 12 °C\n" in made
    for line in TEXT.splitlines():
        assert line in made or line.strip() == "curve: []"
    assert list(YAML(typ="safe").load(made)) == list(YAML(typ="safe").load(TEXT))


def test_the_curve_before_is_kept_as_a_comment():
    first = with_curve(TEXT, [(-54.0, -127.0), (0.0, -73.0)], date(2026, 11, 1))
    second = with_curve(first, [(-54.0, -126.0), (0.0, -72.0)], date(2026, 11, 25))
    assert "# curve before: [[-54.0, -127.0], [0.0, -73.0]]" in second
    assert "# calibrated 2026-11-01" in second
    assert YAML(typ="safe").load(second)["receiver"]["meter"]["curve"] == [[-54.0, -126.0], [0.0, -72.0]]


def test_a_file_without_a_curve_gets_one():
    bare = TEXT.replace("    curve: []\n", "")
    made = with_curve(bare, [(-54.0, -127.0), (0.0, -73.0)], date(2026, 11, 25))
    assert YAML(typ="safe").load(made)["receiver"]["meter"]["curve"][0] == [-54.0, -127.0]
    assert "# calibrated 2026-11-25" in made

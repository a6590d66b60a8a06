"""A station that sees a whole band in one tuning, as a template: its receiver and its band are filled in."""

FROM_TCP = """\
  driver: iq-tcp
  link: "{receiver_link}"
  sample_rate_hz: 512000
  gain_db: 60
  range_hz: [100000, 30000000]
  latency_s: 0.02
  settle_s: 0.01
"""
"""The simulated server of samples."""

STATION = """\
station: {{name: Saltmarsh, latitude: 56.2, longitude: 8.1, environment: rural}}
receiver:
%s  spectrum: {{seconds: %s}}
switch:
  driver: modbus
  link: "{switch_link}"
  settle_s: 0.03
  break_s: 0
  paths:
    antenna-bypass: {{0: off, 1: off}}
    antenna-stage: {{0: on, 1: off}}
    load-bypass: {{0: off, 1: on}}
    load-stage: {{0: on, 1: on}}
bands:
  - {{name: %s, edges_hz: %s}}
plan: {{load_every: 1}}
"""


def station_of(receiver: str, seconds: float, band: str, edges_hz: tuple[int, int]) -> str:
    """The station file, to be filled with links by `str.format`. `receiver`: its lines below ``receiver:``."""
    return STATION % (receiver, seconds, band, list(edges_hz))

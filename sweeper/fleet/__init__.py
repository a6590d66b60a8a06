"""Many stations' folders reduced to one comparison, on this machine or on a Dask cluster."""

from sweeper.fleet.executors import DaskCluster, ProcessPool
from sweeper.fleet.fleet import Fleet, fleet_json, reduce_fleet
from sweeper.fleet.folder import find_stations

__all__ = ["DaskCluster", "Fleet", "ProcessPool", "find_stations", "fleet_json", "reduce_fleet"]

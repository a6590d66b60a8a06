"""From a station file to what the analysis needs to know of it."""

import hashlib
import json
from typing import TYPE_CHECKING

from sweeper.analysis import MeterFacts, StationFacts

if TYPE_CHECKING:
    from sweeper.station import Station  # brings pydantic, which a process that works on days has no use for


def facts_of(station: "Station") -> StationFacts:
    """The plain facts of a station, with a fingerprint of all that the summaries of a day depend on."""
    receiver, meter = station.receiver, station.receiver.meter
    depends_on = {
        "place": [station.station.latitude, station.station.longitude],
        "channels": [[c.band, c.hz, c.purpose, c.bandwidth_hz] for c in station.channels()],
        "meter": meter.model_dump(mode="json"),
        "stage": station.stage.model_dump(mode="json"),
        **({"audio": receiver.audio.model_dump(mode="json")} if receiver.audio is not None else {}),
        **(
            {
                "spectrum": [
                    receiver.spectrum.model_dump(mode="json"),
                    *(list(each.edges_hz) for each in station.tunings().values()),
                ]
            }
            if receiver.spectrum is not None
            else {}
        ),
        "readings": [receiver.readings, receiver.interval_s, receiver.noise_bandwidth_hz],
    }
    fingerprint = hashlib.sha256(json.dumps(depends_on, sort_keys=True).encode()).hexdigest()[:16]
    return StationFacts(
        name=station.station.name,
        latitude=station.station.latitude,
        longitude=station.station.longitude,
        environment=station.station.environment,
        channels=station.channels(),
        meter=MeterFacts(
            unit=meter.unit,
            calibrated=bool(meter.curve) or meter.unit == "dBm",
            step_db=meter.step_db,
            floor=meter.floor,
            top=meter.top,
            averaging_s=meter.averaging_s,
            detector=meter.detector,
            uncertainty_db=meter.uncertainty_db,
            noise_bandwidth_hz=receiver.noise_bandwidth_hz,
            curve=meter.curve,
            linear=receiver.audio is not None or receiver.spectrum is not None,
            by_table=bool(meter.curve) and meter.curve_from == "table",
        ),
        rated_gain_db=station.stage.rated_gain_db,
        rated_noise_figure_db=station.stage.rated_noise_figure_db,
        source_enr_db=station.noise_source.enr_db if station.noise_source else None,
        worthwhile_db=station.analysis.worthwhile_db,
        confidence=station.analysis.confidence,
        fingerprint=fingerprint,
        timezone=station.station.timezone,
    )

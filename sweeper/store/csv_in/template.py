"""A table to fill in by hand: a row for each channel and route, ready for `import`. Pure."""

from collections.abc import Sequence

from sweeper.words import Channel, SignalPath

HEADER = "date,time,kHz,band,for,source,stage,S-meter,remark"


def template_of(channels: Sequence[Channel], paths: Sequence[SignalPath], meter_unit: str) -> str:
    """CSV text: channels in the station's order, each bypass, stage, with the load where there is one."""
    header = HEADER if meter_unit == "dB-over-S9" else HEADER.replace("S-meter", "reading")
    lines = [header]
    for channel in channels:
        for path in paths:
            band = f'"{channel.band}"' if "," in channel.band else channel.band
            stage = "out" if path.route == "bypass" else "in"
            lines.append(f",,{channel.hz / 1000:.10g},{band},{channel.purpose},{path.source},{stage},,")
    return "\n".join([*lines, ""])

"""What a station file may say to a device through SoapySDR, and what it may not. Pure.

A device's settings are words that its driver module made up, and some of them feed the antenna line, reset the device
or open other instruments. So settings go by a list for each module, taken from what the modules offer (their sources:
SoapyRTLSDR, SoapyAirspy, SoapyAirspyHF, SoapySDRPlay3, SoapyHackRF; Debian's SoapyAudio was asked); arguments that
find a device go by what no argument may be, since every module has its own.
"""

import re
from collections.abc import Mapping

from drivers.protocols.keying import in_names

FEEDS_OR_RESETS = re.compile(
    r"bias|reset|phantom|lna_?power|antenna_?power|dc_?power|extref|clock_?out|^rig", re.IGNORECASE
)
"""Keys that move more than the receiver. A short antenna or a masthead stage may not bear the voltage; ``rig`` and what
follows it opens the control line of another receiver."""
PLAIN = re.compile(r"[!-~ ]{0,200}")
SETTINGS: dict[str, frozenset[str]] = {
    "rtlsdr": frozenset({"direct_samp", "offset_tune", "iq_swap", "digital_agc"}),
    "airspy": frozenset({"bitpack"}),
    "airspyhf": frozenset(),
    "sdrplay": frozenset({"rfgain_sel", "iqcorr_ctrl", "rfnotch_ctrl", "dabnotch_ctrl", "hdr_ctrl"}),
    "hackrf": frozenset(),
    "audio": frozenset({"sample_offset"}),
    "redpitaya": frozenset(),
}
"""By SoapySDR's name of the module: what may be set."""
BIAS_TEE = {"rtlsdr": "biastee", "airspy": "biastee", "sdrplay": "biasT_ctrl"}
"""The setting that puts a voltage on the feed line; it is never said but by ``bias_tee: true``."""
FULL_SCALE = {"rtlsdr": 128, "hackrf": 128}
"""Steps from zero to the end of converters so coarse that a level can hide between two of them: those of eight bits."""
DIRECT = {"rtlsdr": "direct_samp"}
"""The setting that leads past the tuner, with a value other than 0."""


def module_of(device: Mapping[str, str | int]) -> str:
    """The module that drives the device, here or behind a server."""
    driver = str(device.get("driver", "")).lower()
    return str(device.get("remote:driver", "")).lower() if driver == "remote" else driver


def mistake_in_arguments(words: Mapping[str, str | int], where: str) -> str:
    """Why these keys and values must not be said; empty where they may."""
    for key, value in words.items():
        if not re.fullmatch(r"[A-Za-z0-9_.:-]{1,64}", key) or not PLAIN.fullmatch(str(value)):
            return f"{key[:40]!r} and its value are no argument of a {where}; both are plain words"
        if FEEDS_OR_RESETS.search(key.rpartition(":")[2]):
            return (
                f"{key!r} puts a supply voltage on the antenna's feed line, resets the device or opens another; "
                "none is ever done from there"
            )
        if word := in_names(key.replace("_", " ")):
            return f"{key!r} sets up a transmitter ({word}); only the receive direction is used"
    return ""


def mistake_in_settings(settings: Mapping[str, str], module: str) -> str:
    """Why a module must not be told these; empty where it may."""
    allowed = SETTINGS.get(module)
    for key in settings:
        if allowed is None:
            return f"no setting of {module or 'an unnamed module'} is known here; leave settings out"
        if key not in allowed:
            known = ", ".join(sorted(allowed)) or "none"
            return f"{key[:40]!r} is not among the settings of {module} that may be set: {known}"
    return next(
        (
            f"the value of {key!r} is no plain word"
            for key, value in settings.items()
            if not PLAIN.fullmatch(value)
        ),
        "",
    )


def samples_directly(settings: Mapping[str, str], module: str) -> bool:
    """Whether these settings lead past the tuner, where everything above half the converter's rate folds down."""
    return settings.get(DIRECT.get(module, ""), "0") not in ("0", "", "false")

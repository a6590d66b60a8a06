"""Files of recordings as others read them: libsndfile and the `sigmf` library."""

import csv
import json
import struct

import numpy as np
import pytest
import sigmf
import soundfile

from sweeper.simulation.recordings import Chain, Planted, Signal, by_relay, render, write
from sweeper.simulation.recordings.planted import over_noise

CHAIN = Chain(external=40.0, receiver=25.0, stage=2.0, gain=20.0)


def planted(kind="audio"):
    rate = 12000 if kind == "audio" else 16000
    signals = (Signal(1500.0, over_noise(CHAIN, 30)),)
    return Planted(kind, rate, 4.0, 7_100_000, by_relay(4.0, 2.0), CHAIN, signals)


def made(kind):
    blocks = np.concatenate(list(render(planted(kind))))
    return np.stack([blocks.real, blocks.imag], 1) if kind == "samples" else blocks


@pytest.mark.parametrize("kind", ["audio", "samples"])
@pytest.mark.parametrize(
    ("form", "depth", "step"),
    [
        ("wav", "8", 2**-7),
        ("wav", "16", 2**-15),
        ("wav", "24", 2**-23),
        ("wav", "float", 1e-7),
        ("flac", "16", 2**-15),
        ("rf64", "16", 2**-15),
        ("auxi", "16", 2**-15),
    ],
)
def test_libsndfile_reads_what_was_planted(tmp_path, kind, form, depth, step):
    written = write(planted(kind), tmp_path, form=form, depth=depth)
    read, rate = soundfile.read(written.recording)
    assert rate == planted(kind).rate_hz
    assert np.abs(read - made(kind)).max() <= 1.1 * step
    assert soundfile.info(written.recording).format == {"flac": "FLAC", "rf64": "RF64"}.get(form, "WAV")


def test_the_name_of_samples_holds_the_centre_and_auxi_too(tmp_path):
    assert write(planted("samples"), tmp_path).recording.name == "recording_7100kHz_.wav"
    raw = write(planted("samples"), tmp_path, form="auxi").recording.read_bytes()
    at = raw.index(b"auxi")
    assert struct.unpack_from("<I", raw, at + 8 + 32)[0] == 7_100_000


@pytest.mark.parametrize("depth", ["8", "16", "float"])
def test_the_sigmf_library_reads_what_was_planted(tmp_path, depth):
    written = write(planted("samples"), tmp_path, form="sigmf", depth=depth)
    file = sigmf.fromfile(str(written.recording))
    assert file.sample_rate == 16000
    assert file.get_captures()[0]["core:frequency"] == 7_100_000
    read = file.read_samples()
    whole = made("samples") @ np.array([1, 1j])
    assert np.abs(read - whole).max() < {"8": 0.02, "16": 1e-4, "float": 1e-6}[depth]


def test_marks_and_truth_lie_beside_it(tmp_path):
    written = write(planted(), tmp_path)
    rows = list(csv.DictReader(written.marks.read_text(encoding="utf-8").splitlines()))
    assert rows == [
        {"at_s": "0.000", "path": "antenna-bypass"},
        {"at_s": "2.000", "path": "antenna-stage"},
    ]
    told = json.loads(written.truth.read_text(encoding="utf-8"))
    assert told["format"] == "sweeper-planted-1"
    assert told["clipped"] == 0.0
    assert told["carriers"][0]["hz"] == 7_101_500
    assert told["carriers"][0]["snr_db"] == pytest.approx(30.0)

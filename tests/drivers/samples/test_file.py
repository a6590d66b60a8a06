"""What libsndfile and the sigmf library write is read as they read it, and what is no recording is told."""

import json
import struct
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
import soundfile

from drivers.samples.file import RecordingError, open_recording

RATE = 8000


def _tone(seconds: float = 1.0) -> np.ndarray:
    t = np.arange(int(RATE * seconds)) / RATE
    return 0.4 * np.cos(2 * np.pi * 900 * t) + 0.01 * np.random.default_rng(0).standard_normal(len(t))


def _read(recording: object) -> np.ndarray:
    return np.concatenate([block.samples for _, block in recording.blocks()])  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("kind", "subtype"),
    [("WAV", "PCM_U8"), ("WAV", "PCM_16"), ("WAV", "PCM_24"), ("WAV", "PCM_32"), ("WAV", "FLOAT"), ("WAV", "DOUBLE"),
     ("FLAC", "PCM_16"), ("FLAC", "PCM_24"), ("RF64", "PCM_16"), ("AIFF", "PCM_16"), ("W64", "PCM_24")],
)  # fmt: skip
def test_sound_files_are_read_as_libsndfile_reads_them(tmp_path: Path, kind: str, subtype: str) -> None:
    file = tmp_path / f"a.{kind.lower()}"
    soundfile.write(file, _tone(), RATE, format=kind, subtype=subtype)
    recording = open_recording([file])
    assert recording.real and recording.rate_hz == RATE
    assert np.array_equal(_read(recording), soundfile.read(file, dtype="float32")[0])


def test_any_part_is_what_the_whole_holds_there(tmp_path: Path) -> None:
    files = [tmp_path / "1.wav", tmp_path / "2.flac"]
    for file in files:
        soundfile.write(file, _tone(1.3), RATE)
    recording = open_recording(files)
    whole = _read(recording)
    part = [(at, block) for at, block in recording.blocks(9000, 15_000)]
    assert np.array_equal(np.concatenate([block.samples for _, block in part]), whole[9000:15_000])
    assert part[0][0] == 9000
    joined = [at + gap for at, block in recording.blocks() for gap in block.gaps]
    assert joined == [10_400]  # nobody knows what went missing between two files


def _iq(file: Path, chunk: bytes = b"") -> np.ndarray:
    rng = np.random.default_rng(1)
    samples = (0.1 * (rng.standard_normal(4000) + 1j * rng.standard_normal(4000))).astype(np.complex64)
    soundfile.write(file, np.stack([samples.real, samples.imag], 1), 48_000, subtype="FLOAT")
    if chunk:
        data = file.read_bytes()
        data = data[:12] + b"auxi" + struct.pack("<I", len(chunk)) + chunk + data[12:]
        file.write_bytes(data[:4] + struct.pack("<I", len(data) - 8) + data[8:])
    return samples


def test_samples_know_their_centre_from_chunk_name_or_call(tmp_path: Path) -> None:
    chunk = (
        struct.pack("<8H", 2026, 11, 0, 7, 20, 15, 30, 250)
        + bytes(16)
        + struct.pack("<8I", 7_100_000, *[0] * 7)
    )
    samples = _iq(tmp_path / "a.wav", chunk)
    recording = open_recording([tmp_path / "a.wav"])
    assert (recording.centre_hz, recording.started) == (
        7_100_000.0,
        datetime(2026, 11, 7, 20, 15, 30, 250_000, UTC),
    )
    assert np.array_equal(_read(recording), samples)
    _iq(tmp_path / "evening_7100kHz_IQ.wav")
    assert open_recording([tmp_path / "evening_7100kHz_IQ.wav"]).centre_hz == 7_100_000.0
    _iq(tmp_path / "b.wav")
    assert open_recording([tmp_path / "b.wav"], centre_hz=3.6e6).centre_hz == 3.6e6
    with pytest.raises(RecordingError, match="--centre HZ if they are I and Q"):
        open_recording([tmp_path / "b.wav"])


@pytest.mark.parametrize("datatype", ["cf32_le", "ci16_le", "cu8", "ri16_le", "cf32_be", "ci8"])
def test_sigmf_is_read_as_the_sigmf_library_reads_it(tmp_path: Path, datatype: str) -> None:
    import sigmf

    rng = np.random.default_rng(2)
    code = {"cf32_le": "<f4", "ci16_le": "<i2", "cu8": "u1", "ri16_le": "<i2", "cf32_be": ">f4", "ci8": "i1"}[
        datatype
    ]
    raw = rng.normal(0, 0.2, 8000) if "f" in code else rng.integers(0, 100, 8000)
    raw.astype(code).tofile(tmp_path / "r.sigmf-data")
    meta = sigmf.SigMFFile(
        data_file=tmp_path / "r.sigmf-data",
        global_info={"core:datatype": datatype, "core:sample_rate": 48_000},
    )
    meta.add_capture(0, {"core:frequency": 7_100_000, "core:datetime": "2026-11-07T20:15:30Z"})
    meta.tofile(tmp_path / "r.sigmf-meta")
    recording = open_recording([tmp_path / "r.sigmf-meta"])
    theirs = np.asarray(sigmf.sigmffile.fromfile(str(tmp_path / "r.sigmf-meta")).read_samples())
    # 127.5 is zero for unsigned bytes, half a step from what the library takes
    assert np.allclose(_read(recording), theirs, atol=6e-3 if datatype == "cu8" else 1e-6)
    assert recording.started == datetime(2026, 11, 7, 20, 15, 30, tzinfo=UTC)


def _broken(folder: Path, what: str) -> list[Path]:
    file = folder / "x.wav"
    match what:
        case "missing":
            return [folder / "none.wav"]
        case "folder":
            return [folder]
        case "empty":
            file.touch()
        case "text":
            file.write_text("at_s,path\n")
        case "opus":
            soundfile.write(folder / "x.opus", _tone(), 48_000, format="OGG", subtype="OPUS")
            return [folder / "x.opus"]
        case "mp3":
            soundfile.write(folder / "x.mp3", _tone(), 16_000, format="MP3", subtype="MPEG_LAYER_III")
            return [folder / "x.mp3"]
        case "a-law":
            soundfile.write(file, _tone(), RATE, subtype="ALAW")
        case "rate":
            soundfile.write(file, _tone(), 11)
        case "channels":
            soundfile.write(file, np.stack([_tone()] * 3, 1), RATE)
        case "two rates":
            soundfile.write(file, _tone(), RATE)
            soundfile.write(folder / "y.wav", _tone(), 16_000)
            return [file, folder / "y.wav"]
        case "datatype" | "no data" | "no rate" | "no meta" | "not json":
            about = {"core:datatype": "cf99" if what == "datatype" else "cf32_le", "core:sample_rate": 48_000}
            if what == "no rate":
                del about["core:sample_rate"]
            text = (
                "{"
                if what == "not json"
                else json.dumps({"global": about, "captures": [], "annotations": []})
            )
            if what != "no meta":
                (folder / "r.sigmf-meta").write_text(text)
            if what != "no data":
                (folder / "r.sigmf-data").write_bytes(bytes(800))
            return [folder / "r.sigmf-meta"]
    return [file]


@pytest.mark.parametrize(
    ("what", "said"),
    [
        ("missing", "no such recording"),
        ("folder", "is a folder"),
        ("empty", "0 bytes"),
        ("text", "no recording that can"),
        ("opus", "throw away"), ("mp3", "throw away"), ("a-law", "throw away"), ("rate", "11 samples a second"),
        ("channels", "choose one with --channel"), ("two rates", "not one recording"), ("datatype", "'cf99'"),
        ("no data", "are not there"),
        ("no rate", "core:sample_rate"),
        ("no meta", "no such file"),
        ("not json", "no SigMF"),
    ],
)  # fmt: skip
def test_what_is_no_recording_is_told_in_a_sentence(tmp_path: Path, what: str, said: str) -> None:
    with pytest.raises(RecordingError, match=said):
        open_recording(_broken(tmp_path, what))


def test_a_file_cut_short_is_used_as_far_as_it_goes(tmp_path: Path) -> None:
    file = tmp_path / "x.wav"
    soundfile.write(file, _tone(4.0), RATE)
    file.write_bytes(file.read_bytes()[:40_000])
    recording = open_recording([file])
    assert recording.frames == pytest.approx((40_000 - 44) // 2, abs=2)
    assert "cut short" in recording.notes[0]


def test_clipped_samples_are_counted(tmp_path: Path) -> None:
    for subtype in ("PCM_U8", "PCM_16", "FLOAT"):
        file = tmp_path / f"{subtype}.wav"
        samples = 0.1 * _tone()
        samples[::100] = 1.0
        soundfile.write(file, samples, RATE, subtype=subtype)
        assert [block.clipped for _, block in open_recording([file]).blocks()] == pytest.approx(
            [0.01, 0.01], abs=1e-3
        )


def test_floating_point_beyond_one_is_not_clipped(tmp_path: Path) -> None:
    """A program that writes samples in floating point may scale them as it likes."""
    file = tmp_path / "loud.wav"
    soundfile.write(file, 30.0 * _tone(), RATE, subtype="FLOAT")
    assert {block.clipped for _, block in open_recording([file]).blocks()} == {0.0}


@pytest.mark.parametrize("wrong", [np.nan, np.inf, -np.inf, 1e30])
def test_samples_that_are_no_numbers_are_refused_with_their_place(tmp_path: Path, wrong: float) -> None:
    file = tmp_path / "wrong.wav"
    samples = 0.1 * _tone()
    samples[RATE // 2] = wrong
    soundfile.write(file, samples, RATE, subtype="FLOAT")
    with pytest.raises(RecordingError, match="no numbers"):
        list(open_recording([file]).blocks())

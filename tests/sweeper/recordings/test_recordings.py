"""A recording ends in a finding, and one that allows none in one sentence with the right exit code."""

from pathlib import Path

import numpy as np
import pytest
import scipy.signal
import scipy.stats
import soundfile

from sweeper.errors import UserFacingError, WrongInput
from sweeper.recordings.comparing import Asked, compare_recording
from sweeper.recordings.levels import unevenness
from sweeper.recordings.refused import MOST_UNEVEN
from tests.sweeper.ab.listening import Scene, audio, samples

pytestmark = pytest.mark.slow

SHORT = Scene(seconds=60.0, every_s=5.0, from_s=5.0)


def _wav(file: Path, values: np.ndarray, rate_hz: int = 8000, subtype: str = "PCM_16") -> Path:
    data = np.stack([values.real, values.imag], 1) if np.iscomplexobj(values) else values
    soundfile.write(file, data, rate_hz, subtype=subtype)
    return file


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return _wav(tmp_path_factory.mktemp("audio") / "evening.wav", audio(SHORT, 3)[0])


def test_edges_are_found_and_the_truth_lies_in_the_interval(evening: Path) -> None:
    found = compare_recording(Asked((evening,), first="bypass", mode="USB", dial_hz=7.1e6)).result
    assert found.edges == 11
    assert [each.at_s for each in found.switched[1:]] == pytest.approx(np.arange(5, 60, 5), abs=0.2)
    assert found.snr_change_db is not None and found.snr_change_db.low < 2.0 < found.snr_change_db.high
    assert found.noise_change_db is not None and found.noise_change_db.value == pytest.approx(10.0, abs=0.2)
    assert found.carriers[0].hz == pytest.approx(7_101_000, abs=20)
    assert found.carriers[0].snr_db == pytest.approx(20.0, abs=2.0)


def test_the_other_beginning_turns_the_finding_round(evening: Path) -> None:
    found = compare_recording(Asked((evening,), first="stage", mode="USB")).result
    assert found.noise_change_db is not None and found.noise_change_db.value == pytest.approx(-10.0, abs=0.2)


def test_marks_and_a_stated_period_do_as_well(evening: Path, tmp_path: Path) -> None:
    marks = tmp_path / "m.csv"
    rows = [f"{at},antenna-{'stage' if nth % 2 else 'bypass'}" for nth, at in enumerate(range(0, 60, 5))]
    marks.write_text("at_s,path\n" + "\n".join(rows) + "\n")
    for asked in (
        Asked((evening,), marks=marks),
        Asked((evening,), first="bypass", switched="every 5 s from 5 s"),
    ):
        assert compare_recording(asked).result.edges == 11


def _comes_up(folder: Path, tau_s: float) -> tuple[Path, float]:
    """A recording of five minutes whose stage comes up like a charged capacitor each time that it is switched in, every
    five seconds; and the S/N change once it is there, by the powers planted.
    """
    rng, rate_hz, gain = np.random.default_rng(7), 8000, 10.0**0.6
    at_s = np.arange(300 * rate_hz) / rate_hz
    stage = (at_s // 5.0) % 2 == 1
    there = np.where(stage, 1.0 + (gain - 1.0) * (1.0 - np.exp(-(at_s % 5.0) / tau_s)), 1.0)
    outside, own, receiver = 0.6, 0.3, 1.0
    fading = 1.0 + 0.3 * np.sin(2 * np.pi * 0.11 * at_s + 1.0)
    on_air = rng.normal(scale=outside**0.5, size=len(at_s)) + 8.0 * fading * np.sin(2 * np.pi * 1000 * at_s)
    on_air += np.where(stage, rng.normal(scale=own**0.5, size=len(at_s)), 0.0)
    heard = there * on_air + rng.normal(scale=receiver**0.5, size=len(at_s))
    heard = scipy.signal.oaconvolve(
        heard, scipy.signal.firwin(257, [300, 2700], pass_zero=False, fs=rate_hz), mode="same"
    )
    noise = {False: outside + receiver, True: gain**2 * (outside + own) + receiver}
    change_db = 10 * np.log10(gain**2 * noise[False] / noise[True])
    return _wav(folder / "comes_up.wav", heard / np.abs(heard).max() / 2), float(change_db)


@pytest.mark.parametrize("tau_s", [0.1, 0.3, 0.5])
def test_a_stage_that_comes_up_after_the_switch_is_heard_once_it_is_there(
    tmp_path: Path, tau_s: float
) -> None:
    """Beside the switch it has less gain than it was bought for, and would read up to 5 dB too bad."""
    file, true_db = _comes_up(tmp_path, tau_s)
    found = compare_recording(Asked(files=(file,), first="bypass", agc_off=True))
    change = found.result.snr_change_db
    assert change is not None and change.low <= true_db <= change.high
    assert change.high - change.low < 2.5
    assert any("comes to rest within" in note for note in found.notes)


def test_a_stage_that_is_left_before_it_is_there_is_told_with_what_to_do(tmp_path: Path) -> None:
    file, _ = _comes_up(tmp_path, 2.0)
    with pytest.raises(UserFacingError, match="never heard at rest; leave each for longer"):
        compare_recording(Asked(files=(file,), first="bypass", switched="every 5 s", agc_off=True))


def test_samples_of_a_band_pool_their_carriers(tmp_path: Path) -> None:
    scene = Scene(
        seconds=30.0,
        rate_hz=24_000,
        every_s=2.0,
        from_s=2.0,
        hz=(-8000.0, -3000.0, 5000.0),
        snr_db=(20.0,) * 3,
    )
    file = _wav(tmp_path / "b_7100kHz.wav", samples(scene, 4)[0], 24_000, "FLOAT")
    found = compare_recording(Asked((file,), first="bypass")).result
    assert found.hz == 7.1e6
    assert found.noise_change_db is not None and found.noise_change_db.value == pytest.approx(10.0, abs=0.2)
    assert {round(carrier.hz / 1e3) for carrier in found.carriers} >= {7092, 7097, 7105}


def _unfit(folder: Path, evening: Path, what: str) -> Asked:
    marks = folder / "m.csv"
    scene = Scene(seconds=40.0)
    values = audio(scene, 5)[0]
    match what:
        case "first":
            return Asked((evening,))
        case "AM":
            return Asked((evening,), first="bypass", mode="AM")
        case "both":
            return Asked((evening,), first="bypass", switched="every 5 s", marks=marks)
        case "words":
            return Asked((evening,), first="bypass", switched="now and then")
        case "outside":
            return Asked((evening,), first="bypass", switched="every 5 s from 90 s")
        case "period":
            return Asked((evening,), first="bypass", switched="every 7 s from 3 s")
        case "late marks":
            marks.write_text("at_s,path\n0,antenna-bypass\n99,antenna-stage\n")
        case "marks twice":
            marks.write_text("at_s,path\n0,antenna-bypass\n9,antenna-bypass\n")
        case "marks of what":
            marks.write_text("at_s,path\n0,antenna-bypass\n9,aerial\n")
        case "no marks":
            marks.write_text("0,antenna-bypass\n")
        case "silence":
            return Asked((_wav(folder / "x.wav", np.zeros(80_000)),), first="bypass")
        case "clipped":
            return Asked((_wav(folder / "x.wav", np.clip(values * 60, -1, 1)),), first="bypass")
        case "never":
            still = audio(Scene(seconds=40.0, switching=False), 6)[0]
            return Asked((_wav(folder / "x.wav", still),), first="bypass")
        case "leaves":
            t = np.arange(len(values)) / 8000
            noise = audio(Scene(seconds=40.0, snr_db=(-40.0,)), 7)[0]
            return Asked((_wav(folder / "x.wav", np.where(t < 22, values, noise)),), first="bypass")
        case "nothing":
            return Asked(
                (_wav(folder / "x.wav", audio(Scene(seconds=40.0, snr_db=(-40.0,)), 8)[0]),), first="bypass"
            )
        case "side bands":
            t = np.arange(len(values)) / 8000
            speech = np.convolve(np.random.default_rng(9).standard_normal(len(t)), np.hanning(24) / 8, "same")
            speech *= np.repeat(np.random.default_rng(10).random(len(t) // 2000 + 1) < 0.5, 2000)[
                : len(t)
            ]  # syllables
            am = 0.05 * (1 + 0.3 * speech) * np.cos(2 * np.pi * 1400 * t)
            return Asked(
                (_wav(folder / "x.wav", 0.2 * audio(Scene(seconds=40.0, snr_db=(-40.0,)), 5)[0] + am),),
                first="bypass",
            )
    return Asked((evening,), marks=marks)


@pytest.mark.parametrize(
    ("what", "code", "said"),
    [
        ("first", 2, "--first is missing"),
        ("AM", 2, "record in USB"),
        ("both", 2, "give one"),
        ("words", 2, "not understood"),
        ("outside", 2, "outside the recording"),
        ("period", 2, "the noise steps at"),
        ("late marks", 2, "line 3: 99 s lies outside"),
        ("marks twice", 2, "again"),
        ("marks of what", 2, "line 3: 'aerial' is no path"),
        ("no marks", 2, "should be at_s,path"),
        ("silence", 1, "is silence"), ("clipped", 1, "are clipped"), ("never", 1, "no moment can be made out"),
        ("leaves", 1, "leaves midway"),
        ("nothing", 1, "nothing stands clear of the rest"),
        ("side bands", 1, "look like AM"),
    ],
)  # fmt: skip
def test_what_is_unfit_is_told_in_one_sentence(
    tmp_path: Path, evening: Path, what: str, code: int, said: str
) -> None:
    with pytest.raises(UserFacingError) as told:
        compare_recording(_unfit(tmp_path, evening, what))
    assert said in str(told.value)
    assert told.value.exit_code == code
    assert isinstance(told.value, WrongInput) == (code == 2)
    assert str(told.value).endswith(".") and "\n" not in str(told.value)


@pytest.mark.parametrize(("taken", "left_over", "length"), [(1.5, 0.1, 256), (2.0, 0.05, 256)])
def test_noise_reduction_is_heard_and_refused(
    evening: Path, tmp_path: Path, taken: float, left_over: float, length: int
) -> None:
    """Spectral subtraction (Boll, IEEE Trans. ASSP 27 (1979) 2), by SciPy: a stage of 2.6 dB looked like 6.9."""
    values, rate_hz = soundfile.read(evening)
    _, _, short = scipy.signal.stft(values, rate_hz, nperseg=length)
    power = np.abs(short) ** 2
    left = np.clip(1.0 - taken * np.median(power, axis=1, keepdims=True) / power, left_over, 1.0)
    cleaned = scipy.signal.istft(short * left, rate_hz)[1]
    file = _wav(tmp_path / "cleaned.wav", cleaned, round(rate_hz))
    with pytest.raises(UserFacingError, match="noise reduction off"):
        compare_recording(Asked((file,), first="bypass", mode="USB"))


def test_stations_that_send_in_slots_are_no_noise_reduction() -> None:
    """Half of the pass band holds signals, each there for longer than two short spectra; the rest is noise."""
    dice = np.random.default_rng(1)
    noise = dice.gamma(3.8, 1.0, (2, 128, 80))
    law = scipy.stats.f(7.6, 7.6)
    assert unevenness(*noise) == pytest.approx(float(np.log(law.ppf(0.9) / law.ppf(0.1))), abs=0.06)
    sent = np.where(dice.random((128, 80)) < 0.5, 300.0, 1.0)
    assert unevenness(*(noise * sent)) < MOST_UNEVEN
    assert unevenness(noise[0] * sent, noise[1] * np.flip(sent, 0)) > MOST_UNEVEN

"""Which core files are changed, and which unit tests are asked about each."""

ANALYSIS = "tests/sweeper/analysis"
STEPS = f"{ANALYSIS}/band/test_bends_and_steps_by_hand.py"
NIGHTS = f"{ANALYSIS}/statistics/test_nights_by_hand.py"
METER = {
    each: f"{ANALYSIS}/meter/test_{each}.py"
    for each in (
        *("scale", "calibration", "seen", "lying_meters", "changed", "pad"),
        *(
            "slope_by_hand",
            "floor_by_hand",
            "changed_by_hand",
            "scale_by_hand",
            "pad_by_hand",
            "calibration_by_hand",
        ),
    )
}
STORE = tuple(
    f"tests/sweeper/store/test_{each}.py"
    for each in ("small_print", "store", "kept_for_good", "threats_of_manifests")
)
SPECTRA = {
    each: tuple(f"tests/sweeper/spectra/test_{one}.py" for one in tests)
    for each, tests in {
        "axis": ("axis", "welch_by_hand", "welch"),
        "blocks": ("blocks",),
        "calm": ("calm",),
        "carriers": ("carriers",),
        "envelope": ("envelope", "mains"),
        "gain_out": ("gain_out",),
        "new_lines": ("new_lines", "over_passes"),
        "noise_bins": ("noise_bins",),
        "over_passes": ("over_passes",),
        "rows": ("rows_by_hand", "rows"),
        "steps": ("steps_by_hand", "steps"),
        "tuning": ("tuning",),
        "welch": ("welch_by_hand", "welch"),
    }.items()
}
ATTENDED = {
    each: tuple(f"tests/sweeper/attended/test_{one}.py" for one in tests)
    for each, tests in {
        "advice": ("advice",),
        "at_station": ("tune", "at_station"),
        "by_hand": ("by_hand", "flips"),
        "curves": ("curves",),
        "fitness": ("fitness",),
        "flips": ("flips",),
        "heard": ("heard",),
        "keys": ("keys",),
        "levels": ("levels", "by_hand"),
        "listening": ("listening", "session"),
        "session": ("session_small_print", "session"),
        "stays": ("by_hand", "session_small_print"),
        "witness": ("tune", "session"),
    }.items()
}
IN_PASS = ("noise/test_in_pass_by_hand", "noise/test_in_pass", "recordings/test_noise_kinds")
OVER_NIGHTS = ("noise/test_over_nights_by_hand", "noise/test_over_nights")
NOISE = {
    each: tuple(f"tests/sweeper/{one}.py" for one in tests)
    for each, tests in {
        "change": OVER_NIGHTS,
        "humps": ("noise/test_humps", *IN_PASS),
        "in_pass": IN_PASS,
        "mains_lines": ("noise/test_mains_lines", *IN_PASS),
        "rhythm": OVER_NIGHTS,
        "search": ("noise/test_search_small_print", "noise/test_search"),
        "seen": OVER_NIGHTS,
        "sources": OVER_NIGHTS,
        "split": OVER_NIGHTS,
        "shown": ("noise/test_shown", "reduction/test_noise"),
        "told": (*OVER_NIGHTS, "report/test_noise"),
        "written": ("noise/test_written",),
    }.items()
}
NOTIFY = {
    each: tuple(f"tests/sweeper/notify/test_{one}.py" for one in tests)
    for each, tests in {
        "addresses": ("addresses",),
        "delivery": ("delivery",),
        "sending": ("sending",),
        "watch": ("watch",),
    }.items()
}
TESTS: dict[str, tuple[str, ...]] = {
    "sweeper/analysis/verdict/judge.py": (f"{ANALYSIS}/verdict/test_judge.py", f"{ANALYSIS}/verdict/test_table.py"),
    "sweeper/analysis/band/cells.py": (f"{ANALYSIS}/band/test_cells_by_hand.py", f"{ANALYSIS}/band/test_cells.py"),
    "sweeper/analysis/band/gain.py": (
        f"{ANALYSIS}/band/test_gain_by_hand.py", f"{ANALYSIS}/band/test_gain.py", f"{ANALYSIS}/band/test_edge_gain.py",
    ),
    "sweeper/analysis/band/gain_methods.py": (
        f"{ANALYSIS}/band/test_gain_by_load_by_hand.py", f"{ANALYSIS}/band/test_gain_by_hand.py",
        f"{ANALYSIS}/band/test_gain_methods.py", f"{ANALYSIS}/band/test_edge_gain.py",
    ),
    "sweeper/analysis/band/switching_threshold.py": (f"{ANALYSIS}/band/test_switching_threshold.py",),
    "sweeper/analysis/change/before_after.py": (
        f"{ANALYSIS}/change/test_before_after_by_hand.py", f"{ANALYSIS}/change/test_before_after.py",
    ),
    "sweeper/analysis/change/compare.py": (
        f"{ANALYSIS}/change/test_compare_on_scales.py", f"{ANALYSIS}/change/test_compare.py",
    ),
    "sweeper/analysis/change/measured.py": (f"{ANALYSIS}/change/test_compare.py",),
    "sweeper/analysis/change/parting.py": (f"{ANALYSIS}/change/test_parting.py",),
    "sweeper/analysis/band/by_ratio.py": (f"{ANALYSIS}/day/test_ratios.py",),
    "sweeper/analysis/band/ratio_agreement.py": (
        f"{ANALYSIS}/band/test_ratio_agreement_by_hand.py", f"{ANALYSIS}/band/test_ratio_agreement.py",
    ),
    "sweeper/analysis/band/channels.py": (f"{ANALYSIS}/band/test_channels.py",),
    "sweeper/analysis/band/steady_signals.py": (
        f"{ANALYSIS}/band/test_steady_signals_by_hand.py", f"{ANALYSIS}/band/test_steady_signals.py",
    ),
    "sweeper/analysis/statistics/estimates.py": (
        f"{ANALYSIS}/statistics/test_estimates.py", "tests/published/test_intervals_against_libraries.py",
    ),
    "sweeper/analysis/statistics/dependent_nights.py": (
        NIGHTS, f"{ANALYSIS}/statistics/test_dependent_nights.py",
    ),
    "sweeper/analysis/physics/friis.py": (f"{ANALYSIS}/physics/test_friis.py", "tests/published/test_noise_figures.py"),
    "sweeper/analysis/physics/radiometer.py": (
        f"{ANALYSIS}/physics/test_radiometer.py", f"{ANALYSIS}/day/test_noise_level.py",
        "tests/published/test_levels.py",
    ),
    "sweeper/analysis/meter/calibration.py": (METER["calibration_by_hand"], METER["calibration"]),
    "sweeper/analysis/meter/scale.py": (METER["scale_by_hand"], METER["scale"]),
    "sweeper/analysis/meter/changed.py": (METER["changed_by_hand"], METER["changed"]),
    "sweeper/analysis/meter/floor.py": (METER["floor_by_hand"], METER["lying_meters"]),
    "sweeper/analysis/meter/pad.py": (METER["pad_by_hand"], METER["pad"]),
    "sweeper/analysis/meter/scales.py": (METER["slope_by_hand"], METER["lying_meters"]),
    "sweeper/analysis/meter/seen.py": (METER["seen"],),
    "sweeper/analysis/meter/slope.py": (METER["slope_by_hand"], METER["lying_meters"]),
    "sweeper/analysis/band/noise_bend.py": (STEPS, f"{ANALYSIS}/band/test_noise_bend.py"),
    "sweeper/analysis/band/stage_steps.py": (STEPS, f"{ANALYSIS}/band/test_stage_steps.py"),
    "sweeper/analysis/verdict/scales.py": (f"{ANALYSIS}/verdict/test_scales.py", METER["lying_meters"]),
    "sweeper/analysis/statistics/steps.py": (NIGHTS, f"{ANALYSIS}/statistics/test_steps.py"),
    "sweeper/analysis/statistics/effective_nights.py": (NIGHTS, f"{ANALYSIS}/statistics/test_effective_nights.py"),
    "sweeper/analysis/physics/external_noise.py": (
        f"{ANALYSIS}/physics/test_external_noise.py", "tests/published/test_external_noise.py",
    ),
    "drivers/ordinary_files.py": ("tests/drivers/test_ordinary_files.py", "tests/test_files.py"),
    "sweeper/store/finished.py": STORE,
    "sweeper/store/manifest.py": STORE,
    "sweeper/store/running.py": (
        "tests/sweeper/store/test_running_small_print.py", STORE[1], "tests/sweeper/store/test_faults.py",
    ),
    "sweeper/engine/one_pass.py": (
        "tests/sweeper/engine/test_pass_small_print.py", "tests/sweeper/engine/test_one_pass.py",
        "tests/sweeper/engine/test_by_sound.py", "tests/sweeper/engine/test_by_samples.py",
    ),
    "sweeper/engine/meter.py": ("tests/sweeper/engine/test_meter.py",),
    "drivers/protocols/allowed.py": (
        "tests/drivers/protocols/test_allowed.py", "tests/drivers/protocols/test_dialect.py",
    ),
    "drivers/protocols/keying.py": ("tests/drivers/protocols/test_keying.py",),
    "drivers/protocols/hamlib.py": (
        "tests/drivers/protocols/test_hamlib.py", "tests/drivers/protocols/test_hamlib_replies.py",
    ),
    "drivers/protocols/frames.py": ("tests/drivers/protocols/test_frames.py",),
    "drivers/protocols/template.py": (
        "tests/drivers/protocols/test_template.py", "tests/drivers/protocols/test_dialect.py",
    ),
    "drivers/links/link.py": ("tests/drivers/links/test_link_small_print.py", "tests/drivers/links/test_link.py"),
    "sweeper/plan/order.py": ("tests/sweeper/plan/test_order.py", "tests/sweeper/plan/test_edges.py"),
    "sweeper/daemon/rig/restore.py": ("tests/sweeper/daemon/rig/test_restore.py",),
    "sweeper/analysis/day/edges.py": (f"{ANALYSIS}/day/test_edges_by_hand.py", f"{ANALYSIS}/day/test_edges.py"),
    "sweeper/analysis/band/edge_lag.py": (
        f"{ANALYSIS}/band/test_edge_lag.py", f"{ANALYSIS}/band/test_edge_gain.py",
    ),
    "sweeper/analysis/band/hours_together.py": (
        f"{ANALYSIS}/band/test_cells_by_hand.py", f"{ANALYSIS}/band/test_cells.py",
    ),
    "sweeper/analysis/statistics/scatter_of_others.py": (f"{ANALYSIS}/statistics/test_scatter_of_others.py",),
    "sweeper/plan/edges.py": ("tests/sweeper/plan/test_edges.py",),
    "sweeper/engine/by_sound.py": (
        "tests/sweeper/station/test_audio_section.py",
        "tests/sweeper/engine/test_hearing_visits.py", "tests/sweeper/engine/test_by_sound.py",
        "tests/sweeper/engine/test_sound_tests.py",
    ),
    "sweeper/engine/sound_tests.py": (
        "tests/sweeper/engine/test_sound_tests_by_hand.py", "tests/sweeper/engine/test_sound_tests.py",
        "tests/sweeper/engine/test_by_sound.py",
    ),
    "sweeper/engine/by_samples.py": ("tests/sweeper/engine/test_by_samples.py",),
    "sweeper/daemon/meter_check.py": (
        "tests/sweeper/daemon/test_meter_check.py", "tests/drivers/receivers/test_hamlib_meters.py",
    ),
    "drivers/receivers/hamlib_meters.py": ("tests/drivers/receivers/test_hamlib_meters.py",),
    "drivers/samples/tcp.py": ("tests/drivers/samples/test_tcp.py", "tests/drivers/receivers/test_iq_tcp.py"),
    "drivers/samples/arrivals.py": (
        "tests/drivers/samples/test_arrivals.py", "tests/drivers/receivers/test_iq_tcp.py",
    ),
    "drivers/foreign.py": ("tests/drivers/test_foreign.py",),
    "sweeper/store/spectra.py": ("tests/sweeper/store/test_spectra.py",),
    **{f"sweeper/spectra/{each}.py": tests for each, tests in SPECTRA.items()},
    **{f"sweeper/attended/{each}.py": tests for each, tests in ATTENDED.items()},
    **{f"sweeper/noise/{each}.py": tests for each, tests in NOISE.items()},
    **{f"sweeper/notify/{each}.py": tests for each, tests in NOTIFY.items()},
}  # fmt: skip
KEPT_FIGURES = {
    "meter": "by_doubtful_meters", "verdict/scales": "by_doubtful_meters", "change": "of_changes", "": "of_nights",
}  # fmt: skip
"""Figures kept of the whole analysis, asked last: by the beginning of a file's name in it, which of them."""


def _kept_of(file: str) -> tuple[str, ...]:
    room = file.removeprefix("sweeper/analysis/")
    which = next(figures for begins, figures in KEPT_FIGURES.items() if room.startswith(begins))
    return (f"{ANALYSIS}/test_kept_figures.py::test_figures_{which}_are_what_they_were",)


TESTS |= {
    file: (*tests, *_kept_of(file)) for file, tests in TESTS.items() if file.startswith("sweeper/analysis")
}
"""The unit tests of each core file, the nearest first."""

SAFETY = ("sweeper/analysis/verdict/judge.py", "drivers/protocols/allowed.py", "drivers/protocols/keying.py")
"""Files whose lists keep people and transmitters safe, or wrong news from being told: no change of one may pass."""

FORBIDS = ("drivers/protocols/keying.py",)

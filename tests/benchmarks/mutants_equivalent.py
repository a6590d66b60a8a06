"""Mutants that were looked at by hand and change nothing that matters, each with the reason.

By file: in which name (``*`` for any), what stands in the changed line, what stands in "before → after", and why.
"""

EQUIVALENT: dict[str, tuple[tuple[str, str, str, str], ...]] = {
    "sweeper/analysis/verdict/judge.py": (
        (
            "_shown", "Interval(min(max(0.0, bottom), top)", "0.0 → 1.0",
            "looks are surer than one in a hundred, so that an interval clear of the limits contradicts them",
        ),
        ("_by_physics", "return 1.0", "1.0 → 2.0", "a level of one or more is never below another"),
        ("_nearest", 'return "undecided", 1.0', "1.0 → 2.0", "the same"),
        ("_alone", "else 1.0", "1.0 → 2.0", "a level of one or more is never below another"),
        (
            "judge", 'verdict == "undecided" or', "undecided",
            "an undecided cell has level 1 as well, which the rest of the line asks for",
        ),
        ("judge", 'verdict == "undecided" or', " or ", "the same: either half says so"),
    ),
    "sweeper/analysis/band/gain_methods.py": (
        ("_of_channels", "share = 1 / (variance", "1 → 2", "the next line divides by their sum: only ratios count"),
    ),
    "sweeper/analysis/band/ratio_agreement.py": (
        ("_direct", "for hz in rows", "rows['hz'].unique() → rows['hz']", "each place as often more: the same median"),
        ("_sentence", "worst > 0", "→ worst >= 0", "what is told lies seven tenths of a decibel off at least"),
    ),
    "sweeper/spectra/blocks.py": (
        ("_raised", "np.maximum(count, 1.0)", "1.0 → 2.0", "where fewer than four bins are left the mean is not asked"),
    ),
    "sweeper/spectra/steps.py": (
        ("widened_by_steps", "surroundings(low) > level", "→ surroundings(low) >=", "a tie of two measured figures"),
    ),
    "sweeper/spectra/carriers.py": (
        ("signals", "STANDS_OUT / 4", ">= STANDS_OUT / 4", "a tie of a measured figure"),
        ("told_apart", "there > max(here, 0.0)", "→ there >= max(", "a tie of two measured figures"),
        ("signals", "continue", "break", "a run is cut ten decibels under peaks of 2.5 at least, so no part is weak"),
    ),
    "sweeper/noise/humps.py": (
        ("_is_noise", "reshape(-1, BLOCK)", "1 → 2", "NumPy takes any negative length for the one to be found"),
        ("_edges", "steps[at] > 0", "0 → 1", "an edge steps by a decibel at least, up or down"),
        ("_edges", "steps[at] > 0", "→ steps[at] >= 0", "the same"),
    ),
    "sweeper/noise/change.py": (
        ("_over", "max(found.share, 1e-3)", "0.001 → 0.002", "of a share below 3 % no fall is told"),
    ),
    "sweeper/noise/rhythm.py": (
        ("DRAWS", "DRAWS = 400", "400 → 401", "how finely a chance is told"),
        ("_chance", "default_rng", "→ 20261128", "other draws of the same chance"),
        ("_week", "apart > 0", "→ apart >= 0", "what is told lies two fifths apart at least"),
        ("_chance", "by[:, None]", "+ by[:, None]", "turned the other way round by a time drawn from the same ones"),
        ("_stretch", "for first in range(24)", "24 → 25", "the hour after the last is the first again"),
        ("_stretch", "best = (0, 0)", "0 → 1", "the hour of the greatest share is a run of one at least"),
    ),
    "sweeper/noise/search.py": (
        ("_claim", "99.9", "99.9 → 199.8", "cut to tenths, nothing under certainty is more than 99.9 %"),
    ),
    "sweeper/noise/seen.py": (
        ("night_of", "- 12.0", "+ 12.0", "all nights' numbers are one greater; they are held against each other"),
    ),
    "sweeper/noise/split.py": (
        ("_split", "if len(means) > 1", "len(means) > 1 → len(means) >= 1", "of four passes there are three groups"),
        ("_split", "if len(means) > 1", "else share → float(np.std", "the same: never asked of one group"),
    ),
    "sweeper/noise/sources.py": (
        ("_off", "off + (whole - 1)", "whole - 1 → whole + 1", "combs are ordered among combs alone"),
    ),
    "sweeper/analysis/statistics/estimates.py": (
        ("inverse_trigamma", "x = 0.5 + 1.0 / value", "", "where Newton's method begins; it ends at the same x"),
        ("inverse_trigamma", "range(20)", "20 → 21", "Newton's method has ended long before"),
        ("*", "1e-12", "1e-12 → 2e-12", "keeps a logarithm or a quotient from nought and is nowhere near a variance"),
    ),
    "sweeper/analysis/statistics/dependent_nights.py": (
        ("*", "1e-12", "1e-12 → 2e-12", "keeps from nought; weights and correlations are nowhere near"),
        ("*", "1e-9", "1e-09 → 2e-09", "tells nought from a scatter; none is that small"),
        ("MixedEstimate._quantile", "xtol", "", "how many digits beyond any decibel are sought"),
    ),
    "sweeper/analysis/statistics/scatter_of_others.py": (
        ("scatters_of_others", "known and each", "→ known", "what is known is there; the other half is for the types"),
    ),
    "sweeper/analysis/statistics/steps.py": (
        ("_places", "1e-3", "0.001 → 0.002", "keeps a quotient from nought; no night is known to a thousandth"),
        ("_places", "1e-6", "1e-06 → 2e-06", "tells nought from a sum of squares"),
        ("_places", "1e-6 *", "2 → 3", "the same: the weight of a night is far from a million times another's"),
        ("_places", "1e-6 *", "→ 1e-06 / float", "the same"),
        ("_together", "<= chance", "→ float(fdtrc(len(squares), dof, squares.mean())) * len(days) < chance",
         "a tie of two measured figures"),
        ("_alike", "max(len(before)", "1 → 2", "each side has two nights at least, so that two are left"),
    ),
    "sweeper/analysis/physics/radiometer.py": (
        ("spread_db", "lru_cache", "", "how much is remembered"),
        ("resolution_db", "np.arange(1.0, 9.0)", "9.0 → 18.0", "more terms of a series that has ended but for 2 %"),
    ),
    "sweeper/analysis/meter/pad.py": (
        ("_between_ends", "on_floor.sum() > 1", "on_floor.sum() >= 1", "one level alone is as wide as itself"),
    ),
    "sweeper/analysis/band/by_ratio.py": (
        ("BY_RATIO", "1e6", "1000000.0 → 2000000.0", "as many degrees of freedom as make Student's law the normal one"),
    ),
    "sweeper/analysis/meter/changed.py": (
        ("_scatter_of_nights", "fill_null(0.0)", "", "a sum over paths leaves out those without a value"),
    ),
    "sweeper/analysis/meter/floor.py": (
        ("floor_of", "bandwidth_hz", "first", "all readings of a visit have one bandwidth"),
    ),
    "sweeper/analysis/band/channels.py": (
        ("_near_each_other", "len(group) > 1", "len(group) >= 1", "one channel alone is apart from none"),
    ),
    "sweeper/analysis/band/gain.py": (
        ("carriers_contradict", "gap < 0", "→ gap <= 0", "what is told lies seven tenths of a decibel off at least"),
        ("weighted", "len(parts) > 1", "len(parts) >= 1", "one part is not apart from itself"),
        ("quieter_antenna", "", "→ abs(carriers.gain_db) <= NO_GAIN_DB", "a tie of two measured figures"),
        ("weighted", "", "chi > chdtri(len(parts) - 1, GAINS_APART_CHANCE) → chi >=", "a tie of two measured figures"),
    ),
    "sweeper/analysis/band/switching_threshold.py": (
        ("switching_threshold", "+ 0.01", "→ gain.gain_db - 0.01", "a slope to the other side, which is squared"),
        ("switching_threshold", "+ 0.01", "→ difference - 0.01", "the same"),
        ("_as_shown", "dbm[0] <= level.value", "level.value < dbm[-1]", "a tie of a measured figure"),
        ("_as_shown", "dbm[0] <= level.value", "→ dbm[0] < level", "the same"),
        (
            "switching_threshold", "", "→ best.low <= worthwhile",
            "where the best lies above what matters there is a crossing: the curve falls from it to nothing",
        ),
    ),
    "sweeper/analysis/change/before_after.py": (
        (
            "control_of", "", "→ step is None",
            "a step comes of a series only; the other half is there for the types",
        ),
        (
            "before_after", "day - day.mean()", "→ day + day.mean()",
            "beside a constant a column may stand anywhere: the step and the slope stay",
        ),
        (
            "_leaning", "series.day.mean()", "→ series.day + series.day.mean()",
            "beside a constant a column may stand anywhere: the slope stays",
        ),
        ("_beside", "return None, 0.0", "0.0 → 1.0", "how far a control moved that is left out is not asked"),
        ("_weighted", "", "1.0 → 2.0", "weights count by their ratios alone"),
        ("_plain_step", "", "return 0.0 → return None", "never asked of nights without a series"),
        ("_plain_step", "return 0.0", "0.0 → 1.0", "never asked of nights without a series; it is there for the types"),
        (
            "before_after", "0.0 if weight is None", "→ weight.value",
            "of nights whose step is known every coefficient is; it is there for the types",
        ),
        (
            "before_after", "control is not None and beside is not None", "→ beside is not None",
            "nothing stands beside without a control; it is there for the types",
        ),
    ),
    "sweeper/analysis/change/parting.py": (
        ("parted", ".unique()", "unique() → ", "each hour once more, for the first and for any of them"),
    ),
    "sweeper/analysis/change/measured.py": (
        ("_chance", "1.0", "1.0 → 2.0", "a chance of one or more is never borne"),
        ("_measured_otherwise.differs", "unique()", ".unique() → ", "each once more, into a set"),
        (
            "_finding", "", "→ _verdict(interval, facts.worthwhile_db)",
            "what is held back is held back once more where the scales are put together",
        ),
    ),
    "sweeper/analysis/band/stage_steps.py": (
        (
            "_steady", "level.mean()", "→ level + level.mean()",
            "the column is another unit of the same; what follows it is taken out all the same",
        ),
    ),
    "sweeper/analysis/band/noise_bend.py": (
        ("gain_by_bend", "level.mean()", "→ level + level.mean()", "another unit of power; the bend is sought in it"),
        ("_FROM_BELOW", "160", "160 → 161", "how fine the first look is; the second refines it"),
        ("_ABOVE", "160", "160 → 161", "how fine the first look is; the second refines it"),
        ("_fitted", "101", "101 → 102", "how fine the second look is: thousandths of a decibel"),
    ),
    "sweeper/store/finished.py": (
        ("_footer", "", "ordinary file' → return None", "whatever is not an empty text says that it is not whole"),
        ("_footer", "", "str(error) → return None", "whatever is not an empty text says that it is not whole"),
        ("_values", "", "str(error) → return None", "the same of values"),
    ),
    "drivers/protocols/template.py": (
        ("_field", "spec.isascii()", "→ spec.isdigit()", "no other letters and digits reach it"),
    ),
    "drivers/protocols/keying.py": (
        ("in_table", "one[-1:] + other[:1]", "1 → 2", "more of each at the border; each alone is looked at too"),
    ),
    "sweeper/analysis/band/steady_signals.py": (
        ("steady_signals", "", "if told.is_empty(): return {} → (nothing)", "where no place is, none is gone through"),
    ),
    "sweeper/analysis/meter/slope.py": (
        ("common_slope", "1 / max(each.se, 0.01)", "1 → 2", "weights count by their ratios alone"),
    ),
    "drivers/receivers/hamlib_meters.py": (
        ("_along", "raw <= table[0][0]", "→ raw < table[0][0]", "the first stretch reads the same at its first point"),
    ),
    "drivers/samples/arrivals.py": (
        ("LOOK_S", "LOOK_S = 1.0", "1.0 → 2.0", "bytes and a hang-up wake the thread; other looks do nothing"),
        ("Arrivals._take", "if count", "notify_all() → (nothing)", "whoever waits looks again by itself, later"),
        ("Arrivals._take", "return -1", "-1 → 1", "whoever asks goes on with whatever is not 0"),
    ),
    "sweeper/spectra/envelope.py": (
        ("noise_power", "both.reshape(-1, every)", "1 → 2", "NumPy takes any negative length for the one to be found"),
    ),
    "sweeper/attended/keys.py": (
        ("keys", "reading.join", "2.0 * LOOK_S", "the thread ends within `LOOK_S`, and no longer is waited for it"),
    ),
    "sweeper/attended/advice.py": (
        ("still", "result is None or it is None", "→ it is None or", "where there is no result there is nothing of it"),
    ),
    "sweeper/attended/by_hand.py": (
        ("NO_MARKS", "Marks((), 0.0)", "0.0 → 1.0", "the size of no steps, which nobody reads"),
        ("_by_steps", "claims and sum(claims)", "→ sum(claims) <", "of no presses none is less than seven tenths"),
        ("_by_steps", "steps[nearest].step_db > 0.0", "0.0 → 1.0", "a step that is seen is one of two decibels"),
        ("_by_steps", "steps[0].step_db > 0.0", "0.0 → 1.0", "the same of the first"),
        ("_by_steps", "rises = step.step_db > 0.0", "0.0 → 1.0", "the same of each"),
        ("out_of_step", "rise if other.path.route", "==", "with all steps turned round, both sides are"),
        (
            "ByHand.stands", "switched and self._last.each", "→ switched and switched[-1]",
            "what is known last is never without a stay: it begins with one, and only such as have some follow",
        ),
    ),
    "sweeper/attended/heard.py": (
        ("Heard.shown", "stay.from_s", "→ bounds[:, 0] > stay.from_s", "the same of a stay's first instant"),
        ("Heard.shown", "latest_s", "> self.until_s - latest_s → bounds[:, 1] >=", "a tie of two instants"),
    ),
    "sweeper/attended/fitness.py": (
        ("over_card_db", "1e-20", "1e-20 → 2e-20", "keeps a quotient from nought; no card is that quiet"),
    ),
    "sweeper/attended/flips.py": (
        ("_only", "LEAST * usual_db", "→ LEAST * usual_db <=", "a tie of two measured figures"),
        ("_only", "LEAST * usual_db", "<= MOST * usual_db", "the same"),
    ),
    "sweeper/attended/listening.py": (
        ("(UNEVEN, GOLDEN)", "GOLDEN", "0.6180339887", "another order that never repeats"),
        ("RelayHands._set", "self._turns += 1", "1 → 2", "the same stays in another order that never repeats"),
        ("RelayHands._set", "self._turns += 1", "→ self._turns -= 1", "the same: the order gone through backwards"),
        ("RelayHands._set", "GOLDEN", "→ 1.0 - UNEVEN", "the same: long stays for short ones"),
        ("RelayHands._set", "GOLDEN", "→ self._turns / GOLDEN", "the same: the two differ by one whole turn"),
        ("RelayHands.__init__", "self._turns", "0 → 1", "where in an order that never repeats it begins"),
        ("RelayHands.__init__", "self._due_s", "0.0 → 1.0", "set anew by the first path, before anybody asks"),
    ),
    "sweeper/plan/edges.py": (
        ("more_edges", "first = (pass_number", "1 → 2", "all get their turn, whoever comes first"),
        ("more_edges", "first = (pass_number", "pass_number - 1 →", "the same"),
    ),
    "sweeper/plan/order.py": (
        ("path_order", "backwards = extras", "pass_number - 1 →", "one of two passes runs backwards either way"),
        ("path_order", "backwards = extras", "1 → 2", "the same"),
        ("moved", "was is None", "→ station.switch.by_hand or now", "a switch names relays of all paths or of none"),
        ("moved", "was is None", "now is None → station.switch.by_hand or was is None", "the same"),
    ),
    "sweeper/analysis/band/cells.py": (
        (
            "_over_all_nights", "if (", "→ gain is None or difference is None or there.sum",
            "without a curve no noise is known, which the rest asks for; it is there for the types",
        ),
    ),
    "drivers/ordinary_files.py": (
        ("content_of", "source.read(", "1 → 2", "one byte more of a file that is too long and refused either way"),
        ("_NOT_WAITED_FOR", "getattr", "0 → 1", "for systems that lack the flag; where this runs none is lacking"),
    ),
}  # fmt: skip


def excused(file: str, name: str, line: str, before: str, after: str) -> str:
    """Why a change matters to nobody; empty when it does."""
    for of, where, change, why in EQUIVALENT.get(file, ()):
        if of in (name, "*") and where in line and change in f"{before} → {after}":
            return why
    return ""

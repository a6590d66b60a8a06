"""What a person at an A/B test is told: whether the meter sees it, what to do next, what it would still take. Words."""

from math import log10

from sweeper.ab import ABResult, Interval, Untold, untold
from sweeper.ab.intervals import FIRST_SHOWN
from sweeper.ab.reason import decibels, spoken
from sweeper.ab.untold import NOT_COMPARED, WHERE_A_CARRIER
from sweeper.words import SignalPath

LONGEST_MIN = 30.0
"""What would take longer than this is not a matter of time any more."""
LEAST_GAP_DB = 0.1
FEWEST_SEEN = 4
AGC_OFF = {"agc": "AGC off", "gain-unknown": "AGC off and that said (--agc-off, or agc_off: true)"}
"""What makes the interval narrower, where the receiver's gain moves or may move."""
NOTHING_DB = 0.3
ENOUGH_FOR_LOAD = 8


def sight(steps_db: list[float], over_card_db: float | None, gain_follows: bool) -> str:
    """Whether the meter sees the difference. `steps_db`: of the noise at each change, positive with the stage in;
    `over_card_db`: the noise over that of the sound card, None where not known.
    """
    if over_card_db is not None and over_card_db < 10.0:
        return (
            f"The receiver's noise stands {over_card_db:.0f} dB over the sound card's own, 10 dB are needed: turn the "
            "receiver's output up."
        )
    if len(steps_db) < FEWEST_SEEN:
        return ""
    mean = sum(steps_db) / len(steps_db)
    spread = (sum((step - mean) ** 2 for step in steps_db) / (len(steps_db) - 1)) ** 0.5
    error = spread / len(steps_db) ** 0.5
    if abs(mean) > max(NOTHING_DB, 3.0 * error):
        least = "" if not gain_follows else " (at least: the receiver's gain follows the signals)"
        return f"This meter sees the switch: the noise steps by {decibels(mean)} dB with the stage in{least}."
    if abs(mean) + 2.0 * error < NOTHING_DB:
        return (
            f"The noise stays as it is within {NOTHING_DB:g} dB: the stage changes little here, or the switch does not "
            "reach this receiver."
        )
    return ""


def turned_round(steps_db: list[float], amplifies: bool) -> str:
    """What is said where the noise falls with what is taken for the stage in; else empty."""
    if len(steps_db) < FEWEST_SEEN or sum(steps_db) / len(steps_db) > -1.0:
        return ""
    if amplifies:
        return (
            "The noise falls when the stage should go in, though it has gain: the switch was the other way round, so "
            "begin again with the stage out."
        )
    return (
        "The noise falls when the stage goes in: right for an attenuator or a filter; for a preamplifier it means that "
        "the test began with the stage in, and then the answer is the other way round."
    )


def why_untold(result: ABResult | None, why_not: str) -> Untold | None:
    """Why there is no S/N change, or no good news. `why_not`: what `compare` said where it gave no result at all."""
    if why_not:
        return NOT_COMPARED.get(why_not, Untold(why_not, WHERE_A_CARRIER))
    return None if result is None else untold(result)


def answer(result: ABResult | None, edges: int, missing: Untold | None) -> str:
    """The finding so far in one line."""
    if missing is not None and edges >= FIRST_SHOWN:
        return f"Nothing can be told{' yet' if missing.by_time else ''}: {missing.why}."
    if missing is not None or result is None or result.snr_change_db is None:
        more = max(FIRST_SHOWN - edges, 1)
        lasts = missing is not None and not missing.by_time and edges >= FEWEST_SEEN
        so_far = f"; so far {missing.why}" if missing is not None and lasts else ""
        return f"Too early: {more} more switching{'s' if more > 1 else ''}{so_far}."
    said = spoken(result.snr_change_db)
    return {
        "stage": f"It helps: S/N {said}, here, now.",
        "bypass": f"It harms: S/N {said}, here, now.",
        "either": f"It makes no difference that matters: S/N {said}, here, now.",
        "undecided": f"Not settled yet: S/N {said}.",
    }[result.verdict]


def gap_db(it: Interval, worthwhile_db: float) -> float:
    """How narrow, to one side, the interval has to become for a verdict, if its middle stays."""
    return max(it.value - worthwhile_db, -worthwhile_db - it.value, worthwhile_db - abs(it.value))


def still(result: ABResult | None, elapsed_s: float, edges: int, missing: Untold | None) -> str:
    """What an answer would still take."""
    if missing is not None:
        return _sentence(missing.do) if missing.by_time and edges >= FIRST_SHOWN else ""
    it = None if result is None else result.snr_change_db
    if result is None or it is None or result.verdict != "undecided":
        return ""
    half, gap = (it.high - it.low) / 2.0, gap_db(it, result.worthwhile_db)
    # at a constant spread the half-width falls with the root of time
    more_min = elapsed_s * ((half / max(gap, LEAST_GAP_DB)) ** 2 - 1.0) / 60.0
    agc = AGC_OFF.get(next((flag for flag in result.flags if flag in AGC_OFF), ""), "")
    if gap < LEAST_GAP_DB or more_min > LONGEST_MIN:
        wants_load = result.noise_change_db is not None and result.noise_rise_db is None
        more = [agc, "a steadier carrier", "the load" if wants_load else ""]
        return f"More time alone will hardly settle it; {' or '.join(each for each in more if each)} would do more."
    minutes = max(round(more_min), 1)
    told = f"About {minutes} more minute{'s' if minutes > 1 else ''} would settle it, as far as it goes now."
    return f"{told} With {agc} it would be fewer." if agc else told


def begin_anew(edges: int, missing: Untold | None) -> str:
    """What to do where going on mends nothing; else empty."""
    if missing is None or missing.by_time or edges < FIRST_SHOWN:
        return ""
    return _sentence(missing.do if "begin again" in missing.do else f"{missing.do}; then begin again")


def _sentence(clause: str) -> str:
    return f"{clause[0].upper()}{clause[1:]}."


def too_late(edges: int, planned: int, by_hand: bool) -> str:
    """What is said where the time that is left is too short for an answer; else empty. `planned`: changes in all."""
    if planned >= FIRST_SHOWN:
        return ""
    more = planned - edges
    begin = "press q and begin again" if by_hand else "begin again"
    return (
        f"The time left is good for {more} more switching{'' if more == 1 else 's'}, too few for an answer: {begin} "
        "with more minutes."
    )


def cap(result: ABResult | None) -> str:
    """What no stage can exceed here and now, from the load; empty where that is not known."""
    rise = None if result is None else result.noise_rise_db
    if result is None or rise is None:
        return ""
    if result.cap_db is None:
        return "The load is about as loud as the antenna: a stage may bring much here, at this hour."
    # as the cap does, by what is sure: a few sides of an edge may tell little of the load
    least, over = (
        f"{10.0 * log10(max(10.0 ** (db / 10.0) - 1.0, 1e-3)):.0f}" for db in (rise.low, rise.value)
    )
    return (
        f"No stage can bring more than {result.cap_db:.1f} dB here at this hour: noise from outside is "
        f"{over if least == over else f'at least {least}'} dB over your own."
    ).replace("-", "−")


LOAD = (
    "leave the stage out, put 50 Ω in place of the antenna, then press L: it tells what any preamp could do."
)


def next_step(
    *, by_hand: bool, keys: bool, path: SignalPath, in_s: float | None, every_s: float, decided: bool
) -> str:
    """What to do now."""
    if not by_hand:
        return f"Nothing to do: the relay switches every {every_s:g} s. Leave the dial alone."
    press = ", then press the space bar" if keys else ""
    if path.source == "load" and path.route == "stage":
        return f"Switch OUT now{press}: the load is wanted with the stage out."
    if path.source == "load":
        return "Wait ten seconds, put the antenna back, then press L." if keys else "Put the antenna back."
    if decided:
        return f"{LOAD[0].upper()}{LOAD[1:]} Or press q to end."
    way = "IN" if path.route == "bypass" else "OUT"
    if in_s is not None and in_s > 0.0:
        return f"Wait: switch {way} in {in_s:.0f} s{press}."
    return f"Switch {way} now{press}."


def too_few(edges: int, by_hand: bool) -> str:
    """Why nothing is claimed after so few changes."""
    times, of_what = "once" if edges == 1 else f"{edges} times", "flips" if by_hand else "switchings"
    if by_hand:
        flipped = f"was flipped {times}" if edges else "was never flipped"
        seen = f"the switch {flipped}, as far as can be told"
    else:
        seen = f"the relay switched {times}" if edges else "the relay never switched"
    return (
        f"Nothing is claimed: {seen}, and an answer takes {FIRST_SHOWN} {of_what} at the least. Begin again, and give "
        "it two minutes or more."
    )

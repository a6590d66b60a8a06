"""The night in one sentence, and what it means for the findings."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from sweeper.daemon.service.health import health_sentence
from sweeper.words import BROUGHT_IN, Outcome, PassRecord

DUSK = datetime(2026, 11, 1, 16, tzinfo=UTC)


def night(*outcomes: tuple[Outcome, str]) -> Sequence[PassRecord]:
    return [
        PassRecord(
            n + 1,
            DUSK + n * timedelta(minutes=10),
            DUSK + n * timedelta(minutes=10) + timedelta(seconds=5),
            out,
            why,
            4,
        )
        for n, (out, why) in enumerate(outcomes)
    ]


DONE: tuple[Outcome, str] = ("done", "")
DEAF: tuple[Outcome, str] = ("failed", "switch: the board does not answer. Check its supply.")
DIAL: tuple[Outcome, str] = ("skipped", "somebody tuned the receiver to 3573000 Hz; the pass gave way")


def test_a_good_night_is_short() -> None:
    assert health_sentence(night(*[DONE] * 84)) == "84 of 84 passes done: nothing is missing."


def test_before_the_first_pass_is_over_it_says_so() -> None:
    # Also while that pass is being measured.
    assert health_sentence([]) == "No pass is over yet."


def test_passes_brought_in_from_a_file_are_neither_done_nor_missing() -> None:
    file: tuple[Outcome, str] = ("done", BROUGHT_IN)
    assert health_sentence(night(*[file] * 80)) == "No pass is over yet."
    told = health_sentence(night(*[file] * 80, DONE, DIAL))
    assert told.startswith("1 of 2 passes done")


def test_a_few_missing_passes_are_named_and_do_not_matter() -> None:
    told = health_sentence(night(*[DONE] * 40, DIAL, DIAL, *[DONE] * 40, DEAF, DONE))
    assert told == (
        "81 of 84 passes done, 2 skipped (somebody tuned the receiver to 3573000 Hz, 2 times), "
        "1 failed (switch: the board does not answer): too few are missing to matter."
    )


def test_a_gap_says_which_hours_are_unknown() -> None:
    told = health_sentence(night(*[DONE] * 6, *[DEAF] * 12, *[DONE] * 66))
    assert (
        "nothing is known of 17:00 to 18:50 UTC, where 12 passes in a row are missing; other hours stand"
        in told
    )


def test_a_gap_in_a_season_says_on_which_day() -> None:
    told = health_sentence(night(*[DONE] * 300, *[DEAF] * 12, *[DONE] * 300))
    assert "nothing is known of 03 November 18:00 to 03 November 19:50 UTC" in told


def test_a_lost_night_is_called_lost() -> None:
    assert "no usable data tonight" in health_sentence(night(*[DEAF] * 84))


def test_many_scattered_losses_widen_the_intervals() -> None:
    assert "wider intervals" in health_sentence(night(*[DONE, DEAF, DONE] * 20))


def test_a_station_left_touched_is_said_whatever_else_went_well() -> None:
    *others, last = night(*[DONE] * 3)
    touched = PassRecord(4, last.ended, last.ended, "failed", "switch: gone.", 2, ("relays", "receiver"))
    assert "the relays and the receiver could not be restored yet" in health_sentence(
        [*others, last, touched]
    )


def test_settings_that_could_not_be_known_are_named() -> None:
    blanker = PassRecord(1, DUSK, DUSK, "done", "", 4, (), ("noise blanker",))
    assert "noise blanker of the receiver could not be known" in health_sentence([blanker])

"""The night in one sentence: what went wrong, and what it means for the findings. Pure."""

from collections import Counter
from collections.abc import Sequence
from datetime import timedelta

from sweeper.words import PassRecord

ONE_NIGHT = timedelta(days=1)

FEW = 0.8
"""Below this share of passes done, the night's intervals are noticeably wider: by 1/√0.8, an eighth."""


def health_sentence(passes: Sequence[PassRecord], troubles: Sequence[str] = ()) -> str:
    """One sentence on the passes of a night, in order, and on what the store set aside.

    Passes brought in from a file do not count: nobody here knows what was due there.
    """
    passes = [record for record in passes if not record.brought_in]
    if not passes:
        return "No pass is over yet." if not troubles else troubles[-1]
    counts = Counter(record.outcome for record in passes)
    done, total = counts["done"], len(passes)
    parts = [f"{done} of {total} passes done"]
    for outcome in ("skipped", "failed"):
        because = Counter(_short(record.because) for record in passes if record.outcome == outcome)
        if because:
            reason, times = because.most_common(1)[0]
            others = " among other reasons" if len(because) > 1 else ""
            count = counts[outcome]
            parts.append(f"{count} {outcome} ({reason}{f', {times} times' if times > 1 else ''}{others})")
    sentence = ", ".join(parts)
    notes = [_meaning(passes, done, total)]
    left = passes[-1].left_over
    if left:
        notes.append(f"the {' and the '.join(left)} could not be restored yet")
    unknown = sorted({name for record in passes for name in record.unknown_settings})
    if unknown:
        notes.append(f"{', '.join(unknown)} of the receiver could not be known, and the findings are flagged")
    notes += [trouble.rstrip(".") for trouble in troubles[-1:]]
    return f"{sentence}: {'; '.join(notes)}."


def _meaning(passes: Sequence[PassRecord], done: int, total: int) -> str:
    if done == total:
        return "nothing is missing"
    if done == 0:
        return "no usable data tonight"
    gap = _longest_gap(passes)
    if gap is not None:
        first, last, count = gap
        moment = "%H:%M" if passes[-1].ended - passes[0].started < ONE_NIGHT else "%d %B %H:%M"
        return (
            f"nothing is known of {first.started:{moment}} to {last.ended:{moment}} UTC, "
            f"where {count} passes in a row are missing; other hours stand"
        )
    if done < FEW * total:
        return "the night counts, with wider intervals"
    return "too few are missing to matter"


def _longest_gap(passes: Sequence[PassRecord]) -> tuple[PassRecord, PassRecord, int] | None:
    """The longest row of passes that are not done, if it has four or more."""
    best: tuple[PassRecord, PassRecord, int] | None = None
    row: list[PassRecord] = []
    for record in (*passes, None):
        if record is not None and record.outcome != "done":
            row.append(record)
            continue
        if len(row) >= 4 and (best is None or len(row) > best[2]):
            best = (row[0], row[-1], len(row))
        row = []
    return best


def _short(because: str) -> str:
    """A reason without the numbers and the mend that make each occurrence look like another."""
    first = because.split(". ")[0].split(";")[0].strip().rstrip(".")
    return first if len(first) <= 90 else first[:87].rstrip() + "…"

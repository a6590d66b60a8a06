"""What is wrong with a station file, told so that it can be mended: file, line, key, sentence, mend."""

from dataclasses import dataclass
from pathlib import Path

from sweeper.errors import WrongInput


@dataclass(frozen=True, slots=True)
class Problem:
    """One mistake. `line` counts from 1; 0 where no line can be named. `key` is dotted, such as ``receiver.mode``."""

    file: Path
    line: int
    key: str
    what: str
    mend: str

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}" if self.line else str(self.file)
        return f"{place}: {self.key}: {self.what} {self.mend}".rstrip()


class StationFileError(WrongInput):
    """A station file that cannot be used, with every mistake found in it."""

    def __init__(self, problems: tuple[Problem, ...]) -> None:
        super().__init__("\n".join(str(problem) for problem in problems))
        self.problems = problems

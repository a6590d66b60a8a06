"""A hand at the switch for tests: reads what the program says next, flips a little later and then presses."""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from sweeper.attended.listening import Pressed
from sweeper.attended.view import View
from tests.sweeper.attended.on_air_now import PlantedSound

TURNED = {"bypass": "stage", "stage": "bypass"}


@dataclass
class Person:
    """Handed every view; acts on the one after. `presses`: without it only the switch is flipped."""

    sound: PlantedSound
    pressed: Pressed
    now_s: Callable[[], float]
    presses: bool = True
    reaction_s: float = 0.9
    late_s: float = 0.4
    twice_at: tuple[int, ...] = ()
    load_at: int | None = None
    seed: int = 1
    flips: int = 0
    _due: list[tuple[float, str]] = field(default_factory=list)
    _busy_until_s: float = -1.0
    _loaded: bool = False

    def __post_init__(self) -> None:
        self._dice = np.random.default_rng(self.seed)

    def __call__(self, view: View) -> None:
        now_s = self.now_s()
        for at_s, what in [each for each in self._due if each[0] <= now_s]:
            self._due.remove((at_s, what))
            if what in ("switched", "load"):
                self.pressed.put((what, now_s))  # type: ignore[arg-type]
            else:
                self.sound.select(what)
        if now_s < self._busy_until_s:
            return
        stands = self.sound.selected() or "antenna-bypass"
        source, route = stands.split("-")
        if source == "load":
            self._act(now_s + 9.0, f"antenna-{route}", "load")
        elif self.load_at is not None and view.hint and view.edges >= self.load_at and not self._loaded:
            self._loaded = True
            self._act(now_s + 1.0, f"load-{route}", "load")
        elif view.next.startswith("Switch ") or (not self.presses and view.switch_in_s == 0.0):
            self._act(
                now_s + self.reaction_s * float(self._dice.uniform(0.5, 1.5)),
                f"antenna-{TURNED[route]}",
                "switched",
            )

    def _act(self, at_s: float, path: str, key: str) -> None:
        self.flips += 1
        self._due.append((at_s, path))
        pressed_s = at_s + self.late_s * float(self._dice.uniform(0.3, 1.7))
        if self.presses or key == "load":
            self._due.append((pressed_s, key))
        if self.flips in self.twice_at:
            self._due.append((pressed_s + 1.3, key))
        self._busy_until_s = pressed_s + 2.0

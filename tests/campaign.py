"""The long campaign: fault-free nights under real ambients with different seeds; none may trip.

python -m tests.campaign            200 nights on all cores, a few minutes
python -m tests.campaign 20         a sample
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor

from nightcure.scenario import BOX, HERE, scenario
from nightcure.settings import load_settings
from nightcure.simulate.rehearse import Figures, rehearse
from tests.ambients import nights

#: Every fourth night is run with the contactor, every second with other moulds or loss.
VARIANTS: tuple[Callable[[], object], ...] = (
    lambda: BOX,
    lambda: BOX.with_mould_times(1.5),
    lambda: BOX,
    lambda: BOX.with_loss_times(1.3),
)


def one(number: int, count: int) -> Figures:
    """Night `number` of `count`."""
    settings, profile = scenario()
    if number % 4 == 2:
        settings = load_settings(HERE / "oven-contactor.toml")
    network = VARIANTS[number % 4]()
    ambient = nights(count)[number]
    return rehearse(settings, profile, network, ambient, (), seed=number).figures  # type: ignore[arg-type]


def run(count: int) -> list[Figures]:
    """All nights, on all cores."""
    with ProcessPoolExecutor() as pool:
        return list(pool.map(one, range(count), [count] * count))


def main() -> int:
    """Print the tally; 1 if any night tripped."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    all_figures = run(count)
    bad = [(i, f) for i, f in enumerate(all_figures) if f.outcome != "done"]
    warned = sum(bool(f.alarms) for f in all_figures)
    worst = max(f.overshoot_c or 0.0 for f in all_figures)
    print(f"{count} nights: {count - len(bad)} done, {len(bad)} tripped, {warned} with a warning,")
    print(f"largest overshoot {worst:.2f} K")
    for i, f in bad:
        print(f"  night {i}: {f.trip} after {f.night_s / 3600:.1f} h")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())

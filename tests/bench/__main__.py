"""`python -m tests.bench`: build what is missing, boot, play the scenarios, print the table.

python -m tests.bench                     all scenarios, and the figures in README.md
python -m tests.bench --only NAME [NAME…] some of them (a name may hold * and ?)
python -m tests.bench --list              their names and titles
python -m tests.bench --check             only read the scenario files
python -m tests.bench --rejudge           judge what the last whole run saved once more, by the code of now
python -m tests.bench --minutes 25        as many as begin within that time, of every step some; the rest is named
"""

from __future__ import annotations

import argparse
import fnmatch
import json
import math
import os
import shutil
import sys
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from tests.bench import figures, inner_state, judging, machine, rejudged, scenario, wheels
from tests.bench.compare import Outcome, outcome
from tests.bench.image import Image, NoImage, cache_dir, ensure_image

NOT_HERE = 75  # EX_TEMPFAIL of sysexits.h: nothing was played
GUEST = Path(__file__).resolve().parent / "guest"


def main() -> int:
    """Run the command line; the status is 1 when a scenario is not as expected, 75 when there is no machine."""
    options = _options()
    try:
        scenarios = scenario.load_all()
    except scenario.ScenarioError as error:
        print(error, file=sys.stderr)
        return 2
    chosen = [s for s in scenarios if _wanted(s["name"], options.only)]
    if not chosen:
        print(f"bench: no scenario is called {' '.join(options.only)}", file=sys.stderr)
        return 2
    if options.list or options.check:
        for one in chosen if options.list else []:
            print(f"{one['name']:<34} {one['title']}")
        print(f"{len(chosen)} scenarios")
        return 0
    if options.rejudge:
        outcomes = rejudged.outcomes(cache_dir(), chosen)
        text = figures.summary(outcomes, {s["name"]: s for s in chosen}, None)
        print(text)
        if len(outcomes) == len(scenarios) and not options.no_readme:
            figures.write_readme(text)
        return 1 if any(not out.passed for out in outcomes) else 0
    try:
        ensure_image()  # to make it takes minutes that are not those of the scenarios
    except NoImage as error:
        print(error, file=sys.stderr)
        return NOT_HERE
    started = time.monotonic()
    until = started + 60 * options.minutes
    chosen = interleaved(chosen)
    outcomes = play(chosen, options.dump, options.machines, until)
    left = [out.name for out in outcomes if out.left]
    outcomes = [out for out in outcomes if not out.left]
    if not outcomes:
        print(f"bench: no scenario began within {options.minutes:g} minutes", file=sys.stderr)
        return NOT_HERE
    failed = [one for one in chosen for out in outcomes if out.name == one["name"] and not out.passed]
    if failed and not options.once:
        print(f"bench: {len(failed)} once more, on machines of their own", flush=True)
        again = play(failed, options.dump, options.machines, math.inf, again=True)
        outcomes = [*(out for out in outcomes if out.passed), *again]
        order = [one["name"] for one in chosen]
        outcomes.sort(key=lambda out: order.index(out.name))
    minutes = (time.monotonic() - started) / 60
    text = figures.summary(outcomes, {s["name"]: s for s in chosen}, minutes)
    print("\n" + text)
    if len(outcomes) == len(scenarios) and not options.no_readme:
        figures.write_readme(text)
    bad = sum(not o.passed for o in outcomes)
    if left:
        print(f"not played, since the {options.minutes:.0f} minutes were over: {', '.join(left)}")
    print(f"evidence and answers are in {cache_dir()}/last-*")
    print(f"{len(outcomes) - bad} passed, {bad} failed")
    return 1 if bad else 0


def interleaved(chosen: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The scenarios in an order in which every part of the list has some of every step."""
    seen: Counter[str] = Counter()
    places: list[tuple[float, int]] = []
    sizes = Counter(one["expect"].get("step", "") for one in chosen)
    for number, one in enumerate(chosen):
        step = one["expect"].get("step", "")
        places.append(((seen[step] + 0.5) / sizes[step], number))
        seen[step] += 1
    return [chosen[number] for _, number in sorted(places)]


def play(chosen: list[dict[str, Any]], dump: bool, machines: int, until: float, again: bool = False) -> list[Outcome]:
    """Boot some machines beside each other, once per kind of boot, and share the scenarios out.

    `until`: the moment (monotonic seconds) from which on no further one is begun.

    `again`: a second try of what failed, since emulation on a busy machine can be too slow for
    a scenario's own clock.  A fault that the tool does not name fails the second time as well.
    """
    image = ensure_image()
    site = cache_dir() / "site.tar"
    wheels.pack_site(site)
    for old in [] if again else cache_dir().glob("last-*"):
        shutil.rmtree(old)
    if any(one.get("guest") for one in chosen):
        inner_state.save(image, site, cache_dir())
    hands: list[tuple[str, list[dict[str, Any]]]] = []
    for boot in scenario.BOOTS:
        mine = [s for s in chosen if s["boot"] == boot]
        # A boot takes as long as some scenarios do.
        many = min(machines, -(-len(mine) // 4))
        hands += [(boot, mine[number::many]) for number in range(many)]
    hands.sort(key=lambda hand: len(hand[1]))  # a bound on the time is not to leave out a kind of boot
    with ThreadPoolExecutor(max_workers=machines) as pool:
        mark = "again-" if again else ""
        jobs = [pool.submit(play_on, image, site, f"{mark}{n}-{h[0]}", *h, dump, until) for n, h in enumerate(hands, 1)]
        outcomes = [out for job in jobs for out in job.result()]
    for out in outcomes:
        out.tries = 2 if again else 1
    order = [s["name"] for s in chosen]
    return sorted(outcomes, key=lambda o: order.index(o.name))


def play_on(
    image: Image, site: Path, name: str, boot: str, mine: list[dict[str, Any]], dump: bool, until: float
) -> list[Outcome]:
    """Boot one machine and play its scenarios on it."""
    if time.monotonic() > until:
        return [Outcome(one["name"], "", left=True) for one in mine]
    share = cache_dir() / f"last-{name}"
    shutil.copytree(GUEST, share / "guest", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(site, share / "site.tar")
    if any(one.get("guest") for one in mine):
        for file in inner_state.FILES:
            shutil.copy(cache_dir() / file, share / file)
    (share / "plan.json").write_text(json.dumps([{**s, "dump": dump} for s in mine]), encoding="utf-8")
    print(f"bench: machine {name} plays {len(mine)} scenarios", flush=True)
    by_name = {s["name"]: s for s in mine}
    outcomes: list[Outcome] = []
    with machine.running(image, share, boot) as qemu:
        for played, result in judging.serve(share, qemu, set(by_name), until):
            out = outcome(by_name[played], result)
            out.evidence = str(share / "evidence" / f"{played}.json")
            outcomes.append(out)
            print(figures.line(out), flush=True)
    judging.write_texts(share)
    for lost in sorted(set(by_name) - {o.name for o in outcomes}):
        if (share / "enough").exists():
            outcomes.append(Outcome(lost, "", left=True))
            continue
        outcomes.append(Outcome(lost, "", complaints=["the machine ended before it was played"]))
        print(figures.line(outcomes[-1]), flush=True)
    return outcomes


def _wanted(name: str, only: list[str]) -> bool:
    return not only or any(fnmatch.fnmatch(name, pattern) for pattern in only)


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description="Play real faults.")
    parser.add_argument("--only", nargs="+", default=[], metavar="NAME", help="play these only")
    parser.add_argument("--list", action="store_true", help="list the scenarios")
    parser.add_argument("--check", action="store_true", help="only check the scenario files")
    parser.add_argument("--dump", action="store_true", help="keep a raw dump of the machine per scenario (slow)")
    cores = os.cpu_count() or 1
    parser.add_argument("--machines", type=int, default=min(cores, 4), help="how many at a time (%(default)s)")
    parser.add_argument(
        "--minutes", type=float, default=math.inf, help="begin no further scenario after this time (no bound)"
    )
    parser.add_argument("--rejudge", action="store_true", help="play nothing: judge what the last run saved")
    parser.add_argument("--once", action="store_true", help="do not try again what failed")
    parser.add_argument("--no-readme", action="store_true", help="leave the figures in README.md as they are")
    return parser.parse_args()


if __name__ == "__main__":
    sys.exit(main())

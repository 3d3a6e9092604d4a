"""Bench sheets by chance: alone, as a quick look at one or two of them."""

from __future__ import annotations

from random import Random

from tests.fuzz import damage, rules, seeds
from tests.fuzz.damage import damaged_bytes, damaged_text, in_bytes
from tests.fuzz.made_up import made_up_sheet
from tests.fuzz.seeds import Files

_DAMAGES = (*damage.SPOTS, *damage.LINES, *damage.TABLE * 2)
_UNITS = ({}, {}, {"lift": "in", "flow": "cfm"}, {"test pressure": "28 inH2O"})


def mutated(random: Random) -> Files:
    """Return good sheets, one of them damaged."""
    name, data = random.choice(seeds.good_sheets())
    if random.random() < 0.15:
        files = {name: damaged_bytes(data, random)}
    else:
        files = {name: in_bytes(damaged_text(data.decode(), random, _DAMAGES), random)}
    if random.random() < 0.2:
        other, whole = random.choice(seeds.good_sheets())
        files.setdefault(other, whole)
    return files


def bad(random: Random) -> Files:
    """Return a sheet that is none: made up, noise, or one of those to be refused with more damage."""
    way = random.random()
    if way < 0.5:
        return {"made-up.csv": in_bytes(made_up_sheet(random), random)}
    if way < 0.6:
        return {"noise.csv": bytes(random.choices(range(256), k=random.randint(0, 300)))}
    name, data = random.choice(seeds.bad_sheets())
    if way < 0.75:
        return {name: damaged_bytes(data, random)}
    return {name: damaged_text(data.decode("utf-8", "replace"), random, _DAMAGES).encode("utf-8", "replace")}


def holds(files: Files) -> str:
    """Check all that must hold of bench sheets, with what a person may say of them."""
    units = _UNITS[sum(map(len, files.values())) % len(_UNITS)]
    return rules.job_holds(files, units)

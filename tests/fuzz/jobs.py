"""Job folders by chance: the job file damaged, or one of its sheets."""

from __future__ import annotations

import tempfile
from pathlib import Path
from random import Random

from core.files.folder import NAME
from core.files.load import load_files, load_job
from core.files.save import Saved, save
from tests.fuzz import damage, rules, seeds
from tests.fuzz.damage import damaged_bytes, damaged_text, in_bytes
from tests.fuzz.damage_job import damaged_job_file
from tests.fuzz.made_up import made_up_job
from tests.fuzz.seeds import Files

_MOST_SHEETS = 6  # of a demo job: what its others say adds time, not paths
_SAVED_ONE_IN = 4  # of those accepted: a disk is slow
_TABLES = (*damage.SPOTS, *damage.LINES, *damage.TABLE)


def mutated(random: Random) -> Files:
    """Return a good job with its job file damaged, or now and then another of its files."""
    files = _fewer(dict(random.choice(seeds.good_jobs())), random)
    if random.random() < 0.85:
        text = damaged_job_file(files[NAME].decode(), random)
        return files | {
            NAME: in_bytes(text, random) if random.random() < 0.2 else text.encode("utf-8", "replace")
        }
    name = random.choice(sorted(files))
    if random.random() < 0.2:
        del files[name]
        return files
    return files | {name: damaged_text(files[name].decode(), random, _TABLES).encode("utf-8", "replace")}


def bad(random: Random) -> Files:
    """Return a job that is none: its job file made up, noise, or one of those to be refused."""
    way = random.random()
    if way < 0.5:
        files = _fewer(dict(random.choice(seeds.good_jobs())), random)
        return files | {NAME: made_up_job(random).encode("utf-8", "replace")}
    files = dict(random.choice(seeds.bad_jobs()))
    if way < 0.6:
        return files | {NAME: damaged_bytes(files[NAME], random)}
    return files | {
        NAME: damaged_job_file(files[NAME].decode("utf-8", "replace"), random).encode("utf-8", "replace")
    }


def _fewer(files: Files, random: Random) -> Files:
    """Keep the files that the job file names, and a few sheets beside them."""
    text = files[NAME].decode()
    free = [name for name in files if name != NAME and name not in text]
    kept = set(random.sample(free, min(_MOST_SHEETS, len(free))))
    return {name: data for name, data in files.items() if name not in free or name in kept}


def holds(files: Files) -> str:
    """Check all that must hold of a job, now and then on a disk as well."""
    outcome = rules.job_holds(files)
    if outcome == rules.ACCEPTED and sum(map(len, files.values())) % _SAVED_ONE_IN == 0:
        _saved_holds(files)
    return outcome


def _saved_holds(files: Files) -> None:
    """Check that a job that was saved is the same when it is read from its folder."""
    with tempfile.TemporaryDirectory() as held:
        folder = Path(held) / "fuzz"
        result = save(folder, folder.parent, files)
        rules.must(isinstance(result, Saved), f"it cannot be saved: {result}")
        loaded = load_job([folder])
    rules.must(loaded.job is not None, f"saved, it is refused: {loaded.problems[:1]}")
    rules.same_job(load_files(files, "fuzz").job, loaded.job)

"""A save that is killed, or read while it goes on: the old job or the new one, whole."""

from __future__ import annotations

import random
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from core.files import disk
from core.files import save as save_module
from core.files.disk import LEDGER
from core.files.folder import JOURNAL, Snapshot, read_whole
from core.files.load import load_job
from core.files.save import HISTORY, Saved, finish, save
from tests.core.killed_saver import FILES, SOMETIMES, version
from tests.core.saving import (
    CHANGES,
    NEW,
    OLD,
    KilledError,
    failing_from,
    files_in,
    old_job,
    reset,
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return the folder of a job with three files, in a root of its own."""
    return old_job(tmp_path)


def test_a_reader_never_meets_half_a_save(folder: Path) -> None:
    over = threading.Event()

    def write() -> None:
        seen = read_whole(folder).snapshot
        for number in range(60):
            seen = save(folder, folder.parent, version(number), seen).snapshot
        over.set()

    save(
        folder,
        folder.parent,
        {**version(0), **dict.fromkeys(OLD.keys() - FILES)},
        read_whole(folder).snapshot,
    )
    writer = threading.Thread(target=write)
    writer.start()
    met = set()
    while not over.is_set():
        met.add(number_of(read_whole(folder).files))
    writer.join()
    assert len(met) > 5  # it did read between saves


# --- killed ----------------------------------------------------------------------------


def number_of(files: dict[str, bytes]) -> int:
    """Return which version a job's files are, all of them."""
    number = int(files[FILES[0]].split()[1])
    expected = {name: data for name, data in version(number).items() if data is not None}
    assert files == expected
    return number


def killed_at_random(folder: Path, times: int, seed: int) -> int:
    """Kill a saver so often, each time look at what is there; return how many saves were cut short."""
    rng = random.Random(seed)
    cut = 0
    script = Path(__file__).with_name("killed_saver.py")
    for _ in range(times):
        with subprocess.Popen(
            [sys.executable, str(script), str(folder), str(folder.parent)], stdout=subprocess.PIPE, text=True
        ) as saver:
            assert saver.stdout.readline() == "ready\n"
            time.sleep(rng.uniform(0.0, 0.06))
            saver.kill()
            said = saver.stdout.read().split("\n")
        told = [int(line) for line in said[:-1]]  # the last line may be half
        if not folder.exists():
            assert not told
            continue
        cut += (folder / JOURNAL).exists()
        number = number_of(read_whole(folder).files)
        assert not told or number in (told[-1], told[-1] + 1)
        assert finish(folder, folder.parent)
        assert not (folder / JOURNAL).exists()
        assert number_of(files_in(folder)) == number
    for entry in (folder / HISTORY).glob("*"):  # none where every kill met the first save
        numbers = {int(path.read_bytes().split()[1]) for path in entry.iterdir()}
        assert len(numbers) == 1 and {path.name for path in entry.iterdir()} - {SOMETIMES} == set(FILES)
    return cut


def test_killed_at_random_moments(tmp_path: Path) -> None:
    killed_at_random(tmp_path / "job", 12, seed=1)


@pytest.mark.slow
def test_killed_at_two_hundred_random_moments(tmp_path: Path) -> None:
    assert killed_at_random(tmp_path / "job", 200, seed=2) > 20  # kills that met a save half done


def test_stopped_before_each_single_step(folder: Path) -> None:
    """As a kill would: from that step on nothing reaches the disk, the clearing up included."""
    seen = read_whole(folder).snapshot
    outcomes: list[bool] = []
    finished = False
    while not finished:
        reset(folder)
        with failing_from(len(outcomes), KilledError()):
            try:
                save(folder, folder.parent, CHANGES, seen)
                finished = True
            except KilledError:
                pass
        read = read_whole(folder).files
        assert read in (OLD, NEW)
        outcomes.append(read == NEW)
        if read == NEW:  # what has been saved cannot be undone by what comes after
            assert save(folder, folder.parent, CHANGES, seen) == Saved(read_whole(folder).snapshot)
            assert [files_in(entry) for entry in (folder / HISTORY).iterdir()] == [OLD]
        else:
            assert isinstance(save(folder, folder.parent, CHANGES, seen), Saved)
        assert files_in(folder) == NEW
        assert not (folder / JOURNAL).exists()
    assert outcomes.index(True) > 10  # many steps before the moment of the save
    assert all(outcomes[outcomes.index(True) :]) and outcomes.count(True) > 5  # and many after it


def test_a_new_job_stopped_before_each_single_step(tmp_path: Path) -> None:
    folder, step, finished = tmp_path / "job", 0, False
    while not finished:
        with failing_from(step, KilledError()):
            try:
                save(folder, tmp_path, OLD)
                finished = True
            except KilledError:
                pass
        assert not folder.exists() or files_in(folder) == OLD
        assert isinstance(save(folder, tmp_path, OLD), Saved)
        assert [path.name for path in (tmp_path / LEDGER).iterdir()] == ["lock"]
        disk.remove(folder)
        step += 1
    assert step > 5


def test_what_was_changed_by_hand_after_a_kill_goes_to_history(folder: Path) -> None:
    seen = read_whole(folder).snapshot
    cut_short(folder, CHANGES, seen)
    assert files_in(folder) == OLD and read_whole(folder).files == NEW
    (folder / "one.csv").write_bytes(b"by hand\n")
    (folder / "three.csv").write_bytes(b"by hand, too\n")
    assert finish(folder, folder.parent)
    assert files_in(folder) == NEW
    kept = sorted(path.read_bytes() for path in (folder / HISTORY).rglob("*.csv"))
    assert kept == sorted([OLD["one.csv"], OLD["two.csv"], b"by hand\n", b"by hand, too\n"])


def cut_short(folder: Path, changes: dict[str, bytes | None], seen: Snapshot) -> None:
    """Save, but be killed at the moment of the save: it counts, and no file is in its place."""
    real = save_module._commit

    def commit(*args: object) -> None:
        real(*args)
        raise KilledError

    with pytest.MonkeyPatch.context() as patch, pytest.raises(KilledError):
        patch.setattr(save_module, "_commit", commit)
        save(folder, folder.parent, changes, seen)


def test_a_job_is_read_as_saved_before_its_files_are_in_their_places(tmp_path: Path, demo_runs: Path) -> None:
    """Whatever a save may change: the job file, a sheet more, a sheet less, a lift table of another kind."""
    source = read_whole(demo_runs / "sprint-four").files
    table = "\n".join(
        ["angle [deg],lift [mm]", *(f"{n},{9.7 - abs(n) / 12:.2f}" for n in range(-110, 111, 5))]
    )
    cam = source["job.toml"].decode().split("[intake.cam]")
    rest = cam[1].split("\n\n", 1)[1]
    changes = {
        "job.toml": f'{cam[0]}lift_table = "cam.txt"\n\n{rest}'.encode(),
        "cam.txt": table.encode(),
        "as-cast_port-2_setup-1.csv": None,
        "extra.csv": source["as-cast_port-2_setup-1.csv"],
    }
    for name in ("cut", "whole"):
        save(tmp_path / name, tmp_path, source)
    cut_short(tmp_path / "cut", changes, read_whole(tmp_path / "cut").snapshot)
    save(tmp_path / "whole", tmp_path, changes, read_whole(tmp_path / "whole").snapshot)
    ours, theirs = (load_job([tmp_path / name]) for name in ("cut", "whole"))
    assert ours.problems == theirs.problems == ()
    assert ours.job.fingerprint == theirs.job.fingerprint
    assert not (tmp_path / "cut" / "cam.txt").exists() and ours.job.cams.intake.table

"""Sheets and job files made of their own words, put together without sense."""

from __future__ import annotations

from random import Random

from core.files.jobfile import TABLES
from tests.fuzz.damage import HEADS, KEYS, ODD, UNITS


def _number(random: Random) -> str:
    return f"{random.choice((1, 1, 10, 1e3, 1e-3)) * random.random():.{random.randint(1, 17)}g}"


def _value(random: Random) -> str:
    figures = random.choice(ODD) if random.random() < 0.3 else _number(random)
    return f"{figures} {random.choice(UNITS)}" if random.random() < 0.6 else figures


def made_up_sheet(random: Random) -> str:
    """Return a bench sheet whose every part is one that such a sheet may have, or nearly so."""
    lines = [f"# {random.choice(KEYS)}: {_value(random)}" for _ in range(random.randint(0, 5))]
    heads = [f"{random.choice(HEADS)} [{random.choice(UNITS)}]" for _ in range(random.randint(0, 3))]
    heads = ["lift [mm]", "intake [L/s]", *heads] if random.random() < 0.6 else heads
    mark = random.choice(",,,;\t")
    lines.append(mark.join(heads))
    lift = 0.0
    for _ in range(random.randint(0, 6)):
        lift += random.random()
        cells = [f"{lift:.{random.randint(1, 9)}f}", *(_number(random) for _ in heads[1:])]
        if random.random() < 0.2:
            cells[random.randrange(len(cells))] = random.choice(ODD)
        lines.append(mark.join(cells))
    return "\n".join(lines)


def made_up_job(random: Random) -> str:
    """Return a job file of tables and keys that exist, with values that may not."""
    lines = []
    for path in random.choices(list(TABLES), k=random.randint(1, 6)):
        listed = path in (("stage",), ("bench",))
        if path:
            lines.append(f"[[{path[0]}]]" if listed else f"[{'.'.join(path)}]")
        keys = list(TABLES[path]) or ["x"]
        lines += [
            f"{key} = {toml_value(random)}" for key in random.sample(keys, random.randint(0, len(keys)))
        ]
    return "\n".join(lines)


def toml_value(random: Random) -> str:
    """Return a value that TOML has, or nearly so."""
    text = _value(random).replace("\\", "\\\\").replace('"', '\\"')
    return random.choice(
        (
            *(f'"{text}"',) * 6,
            *('""', "0", "-1", "1", "3.5", "1e9", "1e999", "inf", "nan", "9" * 400, "0x1F", "1_0", "true"),
            *(
                "[]",
                "{}",
                '["a", 1]',
                "[[1], {}]",
                "{a = 1}",
                "2026-03-14",
                "14:30:00",
                "2026-03-14T14:30:00Z",
            ),
            *("'''\nx\n'''", '"""a\\\n b"""', '"\\u0007"', '"\\U0001F4A5"', "[" * 2_000, "yes", "'x'"),
        )
    )

"""A text damaged as files get damaged: by a slip, by another program, by a bad disk, or by malice."""

from __future__ import annotations

import codecs
import re
from collections.abc import Callable
from random import Random

from core.files import sheet

ODD = (
    *("", "-", "0", "-0", "1", "-1", "7", "0.1", "1e-3", "+5", " 7 ", ".5", "5.", "1e5", "100000", "0.00001"),
    *("nan", "NaN", "inf", "-inf", "1e308", "1e-308", "5e-324", "1e999", "9" * 400, "0." + "0" * 400 + "1"),
    *(
        "1,5",
        "1.234,5",
        "1,234",
        "1 234",
        "1_000",
        "1/8",
        "3/0",
        "1 3/16",
        "21O",
        "0x10",
        "1e",
        "2**9",
        "=1+1",
    ),
    *("true", "null", "None", "x", "'7", '"', '"7', "7 mm", "28 inH2O", "5 %", "-5 degC", "1e400 kPa", "mm"),
    *("\uff11\uff12", "\u00b2", "\u0661", "\u22125", "\u00bd", "\u202e7", "\U0001f4a5", "\u00a07", "\ufeff7"),
    *("\x00", "\x1b[2J", "7\u2028", "7\u0085", "a" * 3_000, "{}", "{0}", "%s", "$x$", "<b>", "[a](b)", "\\"),
    *(
        "as cast",
        "target",
        "calibration",
        "leak",
        "intake",
        "yes",
        "no",
        "2026-02-30",
        "24:00",
        "../../x",
        "#",
    ),
)
UNITS = (
    *(
        "mm",
        "in",
        "thou",
        "m",
        "cm",
        "furlong",
        "L/s",
        "cfm",
        "m3/h",
        "m3/s",
        "scfm",
        "kg/h",
        "g/s",
        "lb/min",
    ),
    *(
        "%",
        "fraction",
        "inH2O",
        "kPa",
        "Pa",
        "hPa",
        "psi",
        "mmHg",
        "degC",
        "degF",
        "K",
        "deg",
        "rad",
        "",
        "cc",
    ),
    *(
        "1/mm",
        "mm mm",
        "mm**99",
        "mm**1e9",
        "cfm/cfm",
        "inH2O\u00b2",
        "dB",
        "bit",
        "1e300 mm",
        "kkg",
        "\u00b5m",
    ),
)
KEYS = (*sheet.KEYS, "stgae")
HEADS = (
    "lift",
    "intake",
    "exhaust",
    "test pressure",
    "meter temperature",
    "intake range",
    "swirl",
    "",
    "a: b",
)
_NUMBER = re.compile(r"\d+(?:[.,]\d+)?")
_UNIT = re.compile(r"(?<=[\d\[] )[A-Za-z%/23]+|(?<=\[)[^\]\n]*(?=\])")
_LINE = re.compile(r"\r\n|\r|\n")

Damage = Callable[[str, Random], str]


# one spot ---------------------------------------------------------------------------------


def _spot(pattern: re.Pattern[str], text: str, random: Random, new: Callable[[str], str]) -> str:
    """Return a text with one of the places that match replaced."""
    found = list(pattern.finditer(text))
    if not found:
        return text
    one = random.choice(found)
    return text[: one.start()] + new(one.group()) + text[one.end() :]


def odd_number(text: str, random: Random) -> str:
    """Put something odd where a number stood."""
    return _spot(_NUMBER, text, random, lambda _: random.choice(ODD))


def other_number(text: str, random: Random) -> str:
    """Put a number of another size where one stood: what a slip or another unit does."""
    factors = (0.1, 10.0, -1.0, 0.0, 25.4, 1e3, 1e-9, 2.0, 1.3, 1.001, 0.999, 0.9)

    def scaled(number: str) -> str:
        return f"{float(number.replace(',', '.')) * random.choice(factors):.{random.randint(1, 17)}g}"

    return _spot(_NUMBER, text, random, scaled)


def digits(text: str, random: Random) -> str:
    """Put a number with many digits where one stood, as a program prints it."""
    return _spot(_NUMBER, text, random, lambda number: number + "0" * 3 + str(random.randrange(10**12)))


def other_unit(text: str, random: Random) -> str:
    """Put another unit where one stood."""
    return _spot(_UNIT, text, random, lambda _: random.choice(UNITS))


def odd_anywhere(text: str, random: Random) -> str:
    """Put something odd anywhere."""
    at = random.randint(0, len(text))
    return text[:at] + random.choice(ODD) + text[at:]


def lost_piece(text: str, random: Random) -> str:
    """Lose a piece of the text."""
    start = random.randint(0, len(text))
    return text[:start] + text[start + random.choice((1, 1, 3, 30, 300)) :]


def cut_short(text: str, random: Random) -> str:
    """Lose the end, as a copy that broke off."""
    return text[: random.randint(0, len(text))]


# lines ------------------------------------------------------------------------------------


def _with_lines(change: Callable[[list[str], Random], None]) -> Damage:
    def damage(text: str, random: Random) -> str:
        lines = _LINE.split(text)
        change(lines, random)
        return "\n".join(lines)

    return damage


def _swap(lines: list[str], random: Random) -> None:
    a, b = random.randrange(len(lines)), random.randrange(len(lines))
    lines[a], lines[b] = lines[b], lines[a]


def _drop(lines: list[str], random: Random) -> None:
    del lines[random.randrange(len(lines))]


def _double(lines: list[str], random: Random) -> None:
    lines.insert(random.randrange(len(lines)), random.choice(lines))


def _long(lines: list[str], random: Random) -> None:
    lines[random.randrange(len(lines))] *= random.choice((2, 50, 2_000))


def _many(lines: list[str], random: Random) -> None:
    lines += [random.choice(lines)] * random.choice((5, 500, 6_000))


def _key(lines: list[str], random: Random) -> None:
    value = (
        random.choice(ODD) if random.random() < 0.5 else f"{random.choice(ODD[:20])} {random.choice(UNITS)}"
    )
    lines.insert(random.randint(0, len(lines)), f"# {random.choice(KEYS)}: {value}")


def _blank(lines: list[str], random: Random) -> None:
    lines.insert(random.randint(0, len(lines)), random.choice(("", "   ", ",,,", ";;", "\t", "#", "sep=;")))


# columns ----------------------------------------------------------------------------------


def _columns(change: Callable[[list[list[str]], Random], None]) -> Damage:
    """Return a damage of the table alone; what stands before its head stays."""

    def damage(text: str, random: Random) -> str:
        lines = _LINE.split(text)
        first = next((i for i, line in enumerate(lines) if line and not line.startswith("#")), len(lines))
        cells = [line.split(",") for line in lines[first:]]
        if cells:
            change(cells, random)
        return "\n".join([*lines[:first], *(",".join(row) for row in cells)])

    return damage


def _swap_columns(rows: list[list[str]], random: Random) -> None:
    a, b = random.randrange(len(rows[0])), random.randrange(len(rows[0]))
    for row in rows[random.randint(0, 1) :]:  # with their heads, or without
        if max(a, b) < len(row):
            row[a], row[b] = row[b], row[a]


def _drop_column(rows: list[list[str]], random: Random) -> None:
    which = random.randrange(len(rows[0]))
    for row in rows[random.randint(0, 1) :]:
        del row[which : which + 1]


def _add_column(rows: list[list[str]], random: Random) -> None:
    rows[0].append(f"{random.choice(HEADS)} [{random.choice(UNITS)}]")
    for row in rows[1:]:
        row.append(random.choice((*ODD[:20], "3", "4")))


def _cell(rows: list[list[str]], random: Random) -> None:
    row = random.choice(rows)
    row[random.randrange(len(row))] = random.choice(ODD)


def _head(rows: list[list[str]], random: Random) -> None:
    rows[0][random.randrange(len(rows[0]))] = f"{random.choice(HEADS)} [{random.choice(UNITS)}]"


def decimal_commas(text: str, random: Random) -> str:
    """Write it as a spreadsheet in another country does, wholly or by halves."""
    mark = random.choice((";", "\t", ",", ";"))
    if random.random() < 0.7:
        text = "\n".join(one if one[:1] == "#" else one.replace(",", mark) for one in _LINE.split(text))
    return text.replace(".", ",") if random.random() < 0.8 else _spot(_NUMBER, text, random, lambda _: "1,25")


SPOTS: tuple[Damage, ...] = (odd_number, other_number, digits, other_unit, odd_anywhere, lost_piece)
LINES: tuple[Damage, ...] = tuple(map(_with_lines, (_swap, _drop, _double, _long, _many, _blank)))
TABLE: tuple[Damage, ...] = (
    *map(_columns, (_swap_columns, _drop_column, _add_column, _cell, _head)),
    _with_lines(_key),
    decimal_commas,
)


def damaged_text(text: str, random: Random, damages: tuple[Damage, ...]) -> str:
    """Return a text with one damage, or a few."""
    for _ in range(random.choice((1, 1, 1, 2, 4))):
        text = random.choice(damages)(text, random)
    return text


# bytes ------------------------------------------------------------------------------------


def in_bytes(text: str, random: Random) -> bytes:
    """Return a text's bytes: nearly always UTF-8, else as some program saves or some disk keeps it."""
    if random.random() < 0.8:
        return text.encode("utf-8", "surrogatepass")
    mark, encoding = random.choice(
        (
            (codecs.BOM_UTF8, "utf-8"),
            (codecs.BOM_UTF16_LE, "utf-16-le"),
            (codecs.BOM_UTF16_BE, "utf-16-be"),
            (codecs.BOM_UTF32_LE, "utf-32-le"),
            (b"", "utf-16-le"),
            (b"", "cp1252"),
            (b"", "utf-7"),
        )
    )
    data = mark + text.encode(encoding, "replace")
    return damaged_bytes(data, random) if random.random() < 0.5 else data


def damaged_bytes(data: bytes, random: Random) -> bytes:
    """Return bytes of which a few are not what they were."""
    held = bytearray(data)
    for _ in range(random.choice((1, 1, 2, 8))):
        at = random.randint(0, len(held))
        if random.random() < 0.6 and at < len(held):
            held[at] ^= 1 << random.randrange(8)
        else:
            held[at : at + random.choice((0, 1, 7))] = bytes(
                random.choices(range(256), k=random.randint(0, 5))
            )
    return bytes(held)

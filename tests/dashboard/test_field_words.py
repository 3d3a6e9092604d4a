"""What the fields offer as an example is what their readers take."""

from __future__ import annotations

import pytest

from core.files.jobfile import TABLES
from core.files.sheet import KEYS
from core.files.typed import PATH as TARGET_PATH
from core.files.write_job import typed
from dashboard import field_words
from dashboard.entry.at_bench import SETUP_KEYS


@pytest.mark.parametrize("key", ["date", "time", *SETUP_KEYS])
def test_a_sheets_example_can_be_read(key: str) -> None:
    example = field_words.head_example(key)
    assert (example is None) == (key == "note")  # which is free text
    if example:
        assert KEYS[key][1].read(example.removeprefix("e.g. ")) not in (None, "")


@pytest.mark.parametrize(
    ("table", "name"), [(table, name) for table, fields in TABLES.items() for name in fields]
)
def test_a_job_files_example_can_be_read(table: tuple[str, ...], name: str) -> None:
    example = field_words.example(f"{table[-1]}.{name}" if table == TARGET_PATH else name)
    if example:
        for one in example.removeprefix("e.g. ").split(", or "):
            path = (table[0], 0, *table[1:], name) if table[:1] == ("stage",) else (*table, name)
            assert typed(path, one) is not None

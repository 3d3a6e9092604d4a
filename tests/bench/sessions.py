"""Many at once: how long a click takes beside 19 others, and what memory the server keeps.

The sessions are websocket clients that speak to the server as its page does, and draw nothing: a
browser each would measure the browsers. A click is timed until the server has finished the run.
"""

from __future__ import annotations

import os
import random
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path

from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from streamlit.proto.WidgetStates_pb2 import WidgetState
from websockets.sync.client import ClientConnection, connect

from tests.bench.ratio import Ratio
from tests.browser.started import free_port, running

SESSIONS, THOUGHT_S, CLICKS, RERUNS = 20, 2.0, 30, 500
WAIT_S = 60
SAY_PID = (
    "import os, sys; open(sys.argv[1], 'w').write(str(os.getpid())); os.execv(sys.argv[2], sys.argv[2:])"
)


class Session:
    """One visitor, who goes to and fro between two screens and two sets of units."""

    def __init__(self, port: int, job: str = "sprint-four") -> None:
        self._line: ClientConnection = connect(
            f"ws://127.0.0.1:{port}/_stcore/stream", subprotocols=["streamlit"], max_size=None
        )
        self._address, self._units_id, self._clicks = f"job={job}", "", 0
        self._pages: dict[str, str] = {}
        self._run("", None)

    def click(self) -> float:
        """Click on the next thing; return the seconds until all that it changed has arrived."""
        units = ("US", "metric")[self._clicks // 2 % 2]
        page = ("", "by-lift")[self._clicks % 2]  # the first screen has no name
        self._clicks += 1
        begin = time.monotonic()
        self._run(self._pages[page], units)
        return time.monotonic() - begin

    def close(self) -> None:
        """Leave."""
        self._line.close()

    def _run(self, page: str, units: str | None) -> None:
        asked = BackMsg()
        asked.rerun_script.query_string = self._address
        asked.rerun_script.page_script_hash = page
        if units is not None:
            state = WidgetState(id=self._units_id)
            state.string_array_value.data.append(units)
            asked.rerun_script.widget_states.widgets.append(state)
        self._line.send(asked.SerializeToString())
        while True:
            told = ForwardMsg.FromString(self._line.recv(timeout=WAIT_S))
            kind = told.WhichOneof("type")
            if kind == "navigation":
                self._pages = {one.url_pathname: one.page_script_hash for one in told.navigation.app_pages}
            elif kind == "page_info_changed":
                self._address = told.page_info_changed.query_string
            elif kind == "delta" and told.delta.new_element.WhichOneof("type") == "button_group":
                group = told.delta.new_element.button_group
                if group.label == "Units":
                    self._units_id = group.id
                    if units is not None and list(group.raw_values) not in ([], [units]):
                        raise RuntimeError(f"asked for {units}, shown {list(group.raw_values)}")
            elif kind == "delta" and told.delta.new_element.WhichOneof("type") == "exception":
                raise RuntimeError(told.delta.new_element.exception.message)
            elif kind == "script_finished":
                return


def many() -> Iterator[Ratio | str]:
    """Time a click alone and among others, and look at the server's memory."""
    port = free_port()
    with tempfile.TemporaryDirectory() as folder:
        said = Path(folder) / "pid"
        server = [sys.executable, "-m", "dashboard", "--port", str(port)]
        with running([sys.executable, "-c", SAY_PID, str(said), *server], port):
            pid = int(said.read_text(encoding="utf-8"))
            yield from _clicks(port, pid)
            yield from _memory(port, pid)


def _clicks(port: int, pid: int) -> Iterator[Ratio | str]:
    one = Session(port)
    for _ in range(8):  # fills what is kept
        one.click()
    before = _cpu_s(pid)
    alone = [one.click() for _ in range(3 * CLICKS)]
    if before is not None:
        yield f"server's CPU for a click: {(_cpu_s(pid) - before) / len(alone) * 1000:.0f} ms"
    one.close()
    among: list[float] = []
    faults: list[Exception] = []
    visitors = [
        threading.Thread(target=_visit, args=(port, THOUGHT_S * n / SESSIONS, among, faults))
        for n in range(SESSIONS)
    ]
    for visitor in visitors:
        visitor.start()
    for visitor in visitors:
        visitor.join()
    if faults:
        raise faults[0]
    p95 = statistics.quantiles(among, n=20)[-1]
    floor = f"the median of {len(alone)} clicks of one session alone"
    yield Ratio(
        f"p95 of {len(among)} clicks, {SESSIONS} sessions, {THOUGHT_S:.0f} s of thought",
        p95,
        floor,
        statistics.median(alone),
        "3 times",
    )
    yield f"their median: {statistics.median(among) * 1000:.0f} ms"


def _visit(port: int, late_s: float, took: list[float], faults: list[Exception]) -> None:
    try:
        time.sleep(late_s)
        visitor = Session(port)
        time.sleep(2 * THOUGHT_S)  # until everybody has come in
        thoughts = random.Random(late_s)
        for _ in range(CLICKS):
            # nobody thinks in step with the others, as 20 clients of one pause do after the first wait
            time.sleep(thoughts.uniform(0.5, 1.5) * THOUGHT_S)
            took.append(visitor.click())
        visitor.close()
    except Exception as fault:  # raised where the others are waited for
        faults.append(fault)


def _memory(port: int, pid: int) -> Iterator[str]:
    one = Session(port)
    for _ in range(20):
        one.click()
    before = _memory_mb(pid)
    for _ in range(RERUNS):
        one.click()
    yield f"memory before and after {RERUNS} reruns: {before} and {_memory_mb(pid)} MB"
    one.close()
    waves = []
    for _ in range(4):
        come = [Session(port) for _ in range(SESSIONS)]
        for visitor in come:
            visitor.click()
            visitor.close()
        waves.append(_memory_mb(pid))
    told = ", ".join(map(str, waves))
    yield f"memory after {SESSIONS} sessions each came and went, four times: {told} MB"
    files = _count(Path(f"/proc/{pid}/fd"))
    yield f"the server then holds {files} files open and {_count(Path(f'/proc/{pid}/task'))} threads"


def _memory_mb(pid: int) -> int | None:
    try:
        pages = int(Path(f"/proc/{pid}/statm").read_text(encoding="ascii").split()[1])
    except OSError:  # no such place on this system
        return None
    return round(pages * os.sysconf("SC_PAGE_SIZE") / 1e6)


def _cpu_s(pid: int) -> float | None:
    try:
        told = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    except OSError:
        return None
    return (int(told[11]) + int(told[12])) / os.sysconf("SC_CLK_TCK")


def _count(folder: Path) -> int | None:
    return len(os.listdir(folder)) if folder.is_dir() else None

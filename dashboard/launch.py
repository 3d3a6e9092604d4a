"""Start the app in a browser: on this machine only, silent towards the outside, from any folder."""

from __future__ import annotations

import contextlib
import os
import socket
import sys
import time
from importlib import import_module
from pathlib import Path
from pkgutil import iter_modules
from threading import Thread

from dashboard.stopping import stopping_at_once

ROOT = Path(__file__).resolve().parents[1]
DEMO_JOBS = ROOT / "demo_runs"

# What must hold even where no settings file is found.
SETTINGS: tuple[str, ...] = (
    "browser.gatherUsageStats=false",
    "client.showErrorDetails=none",
    "client.showErrorLinks=false",
    "client.toolbarMode=minimal",
    "server.address=127.0.0.1",  # left unset, the server looks up its public address
    "server.allowedHosts=127.0.0.1",  # another host name is a page elsewhere that rebinds its own
    "server.allowedHosts=localhost",
    "server.enableAgentApi=false",  # a second door to the app, for clients without a browser
    "server.fileWatcherType=none",
    "server.showEmailPrompt=false",
)
UPLOAD_MB = 10  # a bench sheet has a few kB


def has_display() -> bool:
    """Return whether a browser window is likely to open on this machine."""
    if sys.platform in ("win32", "darwin"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def is_free(port: int) -> bool:
    """Return whether nobody serves on a port of this machine."""
    with socket.socket() as probe:
        if sys.platform != "win32":  # there it would share a port with whoever has it
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError:
            return False
    return True


def app_environment(folder: Path | None, *, is_job: bool, customer: bool) -> dict[str, str]:
    """Return how the app is told what to show."""
    shown = {"GAIN_LEDGER_ROOT": str(folder or DEMO_JOBS)}
    if folder is not None and is_job:
        shown = {"GAIN_LEDGER_ROOT": str(folder.parent), "GAIN_LEDGER_JOB": str(folder)}
    if customer:
        shown["GAIN_LEDGER_READER"] = "customer"
    return shown


def arguments(port: int | None, *, browser: bool, customer: bool = False) -> list[str]:
    """Return the arguments that the server is started with; from a customer it takes no file."""
    settings = [*SETTINGS, f"server.headless={'false' if browser else 'true'}"]
    settings.append(f"server.maxUploadSize={0 if customer else UPLOAD_MB}")
    if port is not None:
        settings.append(f"server.port={port}")
    return ["run", str(ROOT / "dashboard" / "app.py"), *(f"--{setting}" for setting in settings)]


def run_app(environment: dict[str, str], port: int | None, *, browser: bool) -> None:
    """Serve the app in this process until it is stopped."""
    for name in ("GAIN_LEDGER_ROOT", "GAIN_LEDGER_JOB", "GAIN_LEDGER_READER"):
        os.environ.pop(name, None)
    os.environ.update(environment)
    os.chdir(ROOT)  # the theme is in the settings file there
    customer = environment.get("GAIN_LEDGER_READER") == "customer"
    with stopping_at_once():  # until the server is up and takes Ctrl-C itself
        from streamlit import net_util
        from streamlit.web.cli import main

        # A page from elsewhere that knocks is refused; before that the server would ask an outside
        # host for this machine's public address, unless it thinks it knows it. No setting does this.
        net_util._external_ip = "127.0.0.1"
        Thread(target=_load_screens, daemon=True).start()
        main(args=arguments(port, browser=browser, customer=customer), prog_name="streamlit")


def _load_screens() -> None:
    """Load what the screens need while the browser is still loading its page."""
    from streamlit import runtime

    from dashboard import screens

    while not runtime.exists():  # what the screens keep between clicks needs it
        time.sleep(0.01)
    with contextlib.suppress(Exception):  # the app loads the same, and says what is wrong with it
        for screen in iter_modules(screens.__path__):
            import_module(f"{screens.__name__}.{screen.name}")

"""``python -m dashboard``: load the command line, which takes a moment, and run it."""

from __future__ import annotations

from dashboard.stopping import end, stopping_at_once

if __name__ == "__main__":
    with stopping_at_once():
        from dashboard.command_line import main
    end(main())

"""``python -m tests.browser.slowly``: the app, sending each part of a screen a moment after the one before.

What stands on a screen for a blink, half of it old and half of it new, then stands there long
enough to trip a test that does not wait for what it means. The machine that trips over it on its
own is always another one.
"""

from __future__ import annotations

import random
import sys
import time

from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from streamlit.runtime.scriptrunner_utils.script_run_context import ScriptRunContext

PAUSES_S = (0.0, 0.0, 0.02, 0.05)
_send = ScriptRunContext.enqueue


def _send_slowly(context: ScriptRunContext, message: ForwardMsg) -> None:
    _send(context, message)
    if message.WhichOneof("type") == "delta":
        time.sleep(random.choice(PAUSES_S))


if __name__ == "__main__":
    ScriptRunContext.enqueue = _send_slowly
    from dashboard.command_line import main

    sys.exit(main())

"""In a browser: the program speaks to the page's server through its pipes, without a terminal."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
from pathlib import Path

import pytest

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="the driver for pages is run as on a server")


def packet(kind: bytes, payload: bytes) -> bytes:
    return kind + len(payload).to_bytes(4, "big") + payload


def test_the_program_runs_without_a_terminal_where_a_page_shows_it(tmp_path: Path) -> None:
    served = {
        "TEXTUAL_DRIVER": "textual.drivers.web_driver:WebDriver", "LARKSTAIR_HOME": str(tmp_path), "COLUMNS": "90",
        "ROWS": "30", "TEXTUAL_COLOR_SYSTEM": "truecolor",
    }  # fmt: skip
    (tmp_path / "look.json").write_text(json.dumps({"pictures": True}))
    program = subprocess.Popen(
        [sys.executable, "-m", "tutor", "--silent"], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL, env={**os.environ, **served},
    )  # fmt: skip
    assert program.stdin
    assert program.stdout
    watch = threading.Timer(60, program.kill)
    watch.start()
    try:
        seen = b""
        while b"Begin here" not in seen:
            part = os.read(program.stdout.fileno(), 65536)
            assert part, seen[-2000:]
            seen += part
        assert b"__GANGLION__" in seen
        program.stdin.write(packet(b"D", b"?"))
        program.stdin.flush()
        while b"Keys everywhere" not in seen:
            seen += os.read(program.stdout.fileno(), 65536)
        program.stdin.write(packet(b"M", json.dumps({"type": "quit"}).encode()))
        program.stdin.flush()
        program.stdout.read()
        assert program.wait(30) == 0
    finally:
        watch.cancel()
        program.kill()
        program.wait()
        program.stdin.close()
        program.stdout.close()

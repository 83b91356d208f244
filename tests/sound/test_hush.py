"""The screen's own way to the terminal, apart from what libraries print."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path


def test_chatter_goes_to_the_log_and_our_own_words_to_the_terminal(tmp_path: Path) -> None:
    log = tmp_path / "chatter.txt"
    code = (
        "import os, sys\nfrom pathlib import Path\nfrom tutor.sound.hush import shield\n"
        f"assert shield(Path({str(log)!r}))\nassert shield()\n"
        "os.write(2, b'ALSA lib pcm.c: underrun occurred\\n')\n"
        "print('ours', file=sys.stderr)\nsys.__stderr__.write('screen\\n')\n"
        "sys.__stderr__.flush()\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.split() == ["ours", "screen"]
    assert "underrun" in log.read_text()


def test_python_s_own_errors_are_still_seen(tmp_path: Path) -> None:
    code = "from tutor.sound.hush import shield\nshield()\nraise SystemExit('a last word')\n"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert "a last word" in done.stderr

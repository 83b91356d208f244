"""No network: the guard that watches every test works, and a whole session runs where there is none."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
from pathlib import Path

import pytest

JOURNEY = """
import sys
from pathlib import Path
from tutor.lessons import bundled_songs
from tutor.studio import Studio, quizzes
studio = Studio.open(Path(sys.argv[1]), silent_ports=True, seed=1)
song = studio.open_song(bundled_songs()[0].name)
studio.rehearsal.begin(studio.singer, songs=[song.id], count=5)
while studio.rehearsal.current:
    asked = studio.rehearsal.current
    studio.rehearsal.answer(asked.drill.right(asked.item), 1.0)
studio.warmup(song, minutes=10)
quizzes.quiz_page(quizzes.make_quiz([song], title="T", count=2))
studio.close()
print("done")
"""


def test_the_guard_refuses_what_leaves_this_machine() -> None:
    with socket.socket() as line, pytest.raises(AssertionError, match="was tried"):
        line.connect(("192.0.2.1", 80))
    with pytest.raises(AssertionError, match="looked up"):
        socket.getaddrinfo("example.invalid", 80)


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="network namespaces")
def test_a_whole_journey_without_a_network(tmp_path: Path) -> None:
    unshare = shutil.which("unshare")
    if unshare is None or subprocess.run([unshare, "-rn", "true"], capture_output=True, check=False).returncode:
        pytest.skip("network namespaces are not allowed here")
    root = str(Path(__file__).parents[2])
    done = subprocess.run(
        [unshare, "-rn", sys.executable, "-c", JOURNEY, str(tmp_path)],
        capture_output=True, text=True, cwd=root, env={**os.environ, "PYTHONPATH": root}, check=False,
    )  # fmt: skip
    assert done.stdout == "done\n", done.stderr

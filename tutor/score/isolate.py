"""Reading in a process of its own, which can be stopped and cannot take the program down with it.

The child is this module run as a program. It limits its own memory where the system can, reads one file (and the song
in it, when asked), writes one JSON document and ends; the parent waits, stops it on request or when the time is over,
and turns its answer into a NoteTable or a ScoreError.
"""

from __future__ import annotations

import faulthandler
import gc
import json
import os
import subprocess
import sys
import threading
import time
from contextlib import suppress
from pathlib import Path
from typing import Any

from tutor.errors import ScoreError
from tutor.music.table import NoteTable

TIMEOUT_S = 10.0
"""Longest time given to one file, once the reader is loaded. On a busy machine of two cores the slowest of 101 songs
took 3.3 s, a quartet movement of 5,400 notes 7 s."""
START_S = 60.0
"""Longest time given to a child to start and load the reader: the first time after an installation is slow."""
MEMORY_BYTES = 1 << 30
"""Most memory the child may ask for."""
_POLL_S = 0.05
_MARK = "larkstair-table:"
_LATE, _FAILED, _FULL = 1, 3, 4
"""Exit codes of a child that gives no answer; the first is the one that `faulthandler` ends a process with."""


def read_isolated(
    path: Path,
    *,
    timeout_s: float = TIMEOUT_S,
    stop: threading.Event | None = None,
    voice_part: str | None = None,
    memory_bytes: int = MEMORY_BYTES,
) -> NoteTable:
    """Read a score file in a child process.

    Args:
        path: The file.
        timeout_s: Seconds given to the file before the child ends itself.
        stop: Set from another thread to end the child at once.
        voice_part: Id of the sung part as the user says; None to choose it.
        memory_bytes: Most memory the child may ask for.

    Raises:
        ScoreError: the file cannot be read, reading took too long or too much memory, or it was stopped.
    """
    order = {"path": str(path.absolute()), "voice": voice_part, "memory": memory_bytes}
    return NoteTable.loads(_asked(path, order, timeout_s, stop)["table"])


def read_and_analyse(
    path: Path, *, timeout_s: float = TIMEOUT_S, stop: threading.Event | None = None
) -> tuple[NoteTable, dict[str, Any] | None]:
    """Read a score file in a child process and let the engine read the song there too.

    Args:
        path: The file.
        timeout_s: Seconds given to the file before the child ends itself.
        stop: Set from another thread to end the child at once.

    Returns:
        The table, and the reading as the document of `tutor.analysis.contract`; None where nothing is sung.

    Raises:
        ScoreError: as `read_isolated`.
    """
    order = {"path": str(path.absolute()), "voice": None, "memory": MEMORY_BYTES, "analyse": True}
    found = _asked(path, order, timeout_s, stop)
    return NoteTable.loads(found["table"]), found["reading"]


def _asked(path: Path, order: dict[str, Any], timeout_s: float, stop: threading.Event | None) -> dict[str, Any]:
    where = path.name or str(path)
    asked = json.dumps({**order, "seconds": timeout_s})
    child = _start()
    try:
        answer = _wait(child, asked, time.monotonic() + START_S + timeout_s, stop, where)
    finally:
        if child.poll() is None:
            child.kill()
        child.communicate()
    if answer is None or (_MARK not in answer and child.returncode == _LATE):
        raise ScoreError(
            f"reading took longer than {timeout_s:g} seconds and was ended",
            where=where,
            remedy="Export only this song",
        )
    if _MARK not in answer and child.returncode == _FULL:
        raise ScoreError("reading this file needs too much memory", where=where, remedy="Export only this song")
    return _answered(answer, where)


def _start() -> subprocess.Popen[str]:
    root = str(Path(__file__).resolve().parents[2])
    paths = [root, *filter(None, [os.environ.get("PYTHONPATH")])]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(paths), "PYTHONUTF8": "1"}
    # One thread of the numeric libraries is enough and keeps their stacks out of the memory limit.
    environment.update(OPENBLAS_NUM_THREADS="1", OMP_NUM_THREADS="1")
    return subprocess.Popen(
        [sys.executable, "-m", "tutor.score.isolate"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env=environment,
        encoding="utf-8",
        creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
    )


def _wait(
    child: subprocess.Popen[str], order: str, deadline: float, stop: threading.Event | None, where: str
) -> str | None:
    """What the child answers; None when the deadline has passed."""
    pending: str | None = order
    while True:
        try:
            return child.communicate(pending, timeout=_POLL_S)[0]
        except subprocess.TimeoutExpired:
            pending = None
        if stop is not None and stop.is_set():
            raise ScoreError("reading was stopped", where=where)
        if time.monotonic() > deadline:
            return None


def _answered(answer: str, where: str) -> dict[str, Any]:
    line = next((x for x in answer.splitlines() if x.startswith(_MARK)), None)
    if line is None:
        raise ScoreError(
            "reading this file failed",
            where=where,
            remedy="Export the score as MusicXML and open that",
        )
    found: dict[str, Any] = json.loads(line[len(_MARK) :])
    if "error" in found:
        raise ScoreError(found["error"], where=found["where"], remedy=found["remedy"])
    return found


def main() -> None:
    """Read the file named on standard input and answer on standard output."""
    order = json.load(sys.stdin)
    _limit_memory(order["memory"])
    gc.disable()  # one file, then the end: measured a fifth faster, and no larger
    answer = os.fdopen(os.dup(1), "w", encoding="utf-8")
    sys.stdout = sys.stderr  # what libraries print is not the answer
    from music21 import converter as _loaded  # noqa: F401  # the time it takes is not the file's

    from tutor.score.read import read_file

    _limit_time(order["seconds"])
    try:
        table = read_file(Path(order["path"]), voice_part=order["voice"])
        found: dict[str, Any] = {"table": table.dumps()}
        if order.get("analyse"):
            found["reading"] = _reading(table)
    except ScoreError as error:
        found = {"error": error.what, "where": error.where, "remedy": error.remedy}
    with answer:
        answer.write(f"\n{_MARK}{json.dumps(found)}\n")


def _reading(table: NoteTable) -> dict[str, Any] | None:
    from tutor.analysis.contract import to_json
    from tutor.analysis.reading import read

    try:
        return to_json(read(table))
    except ScoreError:  # no part is sung; a correction beside the song may name one
        return None


def _limit_time(seconds: float) -> None:
    """End this process when the time is over, whatever it is doing then, and whether or not the parent still lives."""
    # A thread of C, on every system: neither a long match of a pattern nor a loop inside a library can hold it up.
    faulthandler.dump_traceback_later(seconds, exit=True, file=Path(os.devnull).open("w"))  # noqa: SIM115


def _limit_memory(most_bytes: int) -> None:
    """Bound memory: by the system where it can, and by looking at it again and again where it cannot."""
    with suppress(ImportError):  # Windows has no such limits
        import resource

        for kind, most in ((resource.RLIMIT_AS, most_bytes), (resource.RLIMIT_CORE, 0)):
            with suppress(OSError, ValueError):  # macOS lets no process bound its own address space
                hard = resource.getrlimit(kind)[1]
                resource.setrlimit(kind, (most if hard == resource.RLIM_INFINITY else min(most, hard), hard))
    threading.Thread(target=_watch_memory, args=(most_bytes,), daemon=True).start()


def _watch_memory(most_bytes: int) -> None:
    while peak_bytes() <= most_bytes:
        time.sleep(_POLL_S)
    os._exit(_FULL)


def peak_bytes() -> int:
    """The most memory this process has had so far; 0 where the system does not tell."""
    if sys.platform == "win32":
        return _peak_on_windows()
    import resource

    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak if sys.platform == "darwin" else peak * 1024  # macOS counts bytes, others kilobytes


def _peak_on_windows() -> int:
    """PeakPagefileUsage of PROCESS_MEMORY_COUNTERS (Windows API, psapi.h, recalled)."""
    import ctypes

    class Counters(ctypes.Structure):
        _fields_ = (("size", ctypes.c_uint32), ("faults", ctypes.c_uint32), ("sizes", ctypes.c_size_t * 8))

    try:
        kernel: Any = vars(ctypes)["windll"].kernel32
        kernel.GetCurrentProcess.restype = ctypes.c_void_p
        found = Counters(size=ctypes.sizeof(Counters))
        process = ctypes.c_void_p(kernel.GetCurrentProcess())
        told = kernel.K32GetProcessMemoryInfo(process, ctypes.byref(found), found.size)
    except (KeyError, AttributeError, OSError):
        return 0
    return int(found.sizes[7]) if told else 0


if __name__ == "__main__":
    try:
        main()
    except MemoryError:
        os._exit(_FULL)
    except BaseException:  # whatever it was, it must not look like the end of the time
        os._exit(_FAILED)

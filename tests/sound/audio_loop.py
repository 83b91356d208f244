"""A sound card for tests: PulseAudio with two null sinks, reached by PortAudio through ALSA's pulse plugin.

The program uses the default device: it plays to the speaker and hears the voice. A test sings on output device `singer`
and hears what the program played on input device `ear`. By hand::

    eval "$(python -m tests.sound.audio_loop start DIRECTORY)"
    python -m tests.sound.audio_loop stop DIRECTORY
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

NEEDED = ("pulseaudio", "pactl")
"""Programs it needs."""
MOST_CLIENTS = 64
"""What the server serves at a time."""


def plugin() -> Path | None:
    """ALSA's way to PulseAudio, wherever the system keeps it."""
    found = sorted(Path("/usr/lib").glob("**/alsa-lib/libasound_module_pcm_pulse.so"))
    return found[0] if found else None


def missing() -> str:
    """What is missing on this machine; empty when everything is there."""
    lacking = [n for n in NEEDED if shutil.which(n) is None]
    if plugin() is None:
        lacking.append("ALSA's pulse plugin (libasound2-plugins)")
    return ", ".join(lacking)


class AudioLoop:
    """The sound card. It can be pulled out (`stop`) and put in again (`start`).

    Args:
        folder: a fresh folder of its own.
        rate: samples a second of both sinks.
    """

    def __init__(self, folder: Path, rate: int = 48_000) -> None:
        self.folder, self.rate = folder, rate
        self.server: subprocess.Popen[bytes] | None = None

    @property
    def environment(self) -> dict[str, str]:
        """What the program under test needs in its environment."""
        return {
            "PULSE_SERVER": f"unix:{self.folder}/native",
            "PULSE_COOKIE": f"{self.folder}/cookie",
            "ALSA_CONFIG_PATH": f"{self.folder}/asound.conf",
        }

    def start(self) -> None:
        """Start the server and wait until it answers."""
        for name in ("run", "state"):
            (self.folder / name).mkdir(mode=0o700, parents=True, exist_ok=True)
        (self.folder / "pulse.pa").write_text(
            # without norewinds the first input comes after a second or more
            f"load-module module-native-protocol-unix auth-anonymous=1 socket={self.folder}/native\n"
            f"load-module module-null-sink sink_name=speaker rate={self.rate} channels=2 norewinds=1\n"
            f"load-module module-null-sink sink_name=voice rate={self.rate} channels=1 norewinds=1\n"
            "set-default-sink speaker\nset-default-source voice.monitor\n"
        )
        # PortAudio lists what ALSA can enumerate; this file stands for the system's own, so nothing but these is seen
        (self.folder / "asound.conf").write_text(
            f'pcm_type.pulse {{ lib "{plugin()}" }}\n'
            f'ctl_type.pulse {{ lib "{str(plugin()).replace("_pcm_", "_ctl_")}" }}\n'
            'pcm.!default { type pulse hint { show on description "program" } }\nctl.!default { type pulse }\n'
            'pcm.singer { type pulse device voice hint { show on description "test singer" } }\n'
            'pcm.ear { type pulse device speaker.monitor hint { show on description "test ear" } }\n'
        )
        own = {
            "PULSE_RUNTIME_PATH": f"{self.folder}/run",
            "PULSE_STATE_PATH": f"{self.folder}/state",
            "PULSE_COOKIE": f"{self.folder}/cookie",
        }
        with (self.folder / "log").open("ab") as log:
            self.server = subprocess.Popen(
                [
                    *("pulseaudio", "-n", "-F", str(self.folder / "pulse.pa"), "--daemonize=no", "--exit-idle-time=-1"),
                    *("--use-pid-file=no", "--disable-shm=no", "--log-target=stderr", "--log-level=notice"),
                ],
                env={**os.environ, **own},
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
            )
        for _ in range(200):
            if self._answers():
                return
            time.sleep(0.05)
        self.stop()
        raise RuntimeError(f"the sound server did not start: {(self.folder / 'log').read_text()[-2000:]}")

    def _answers(self) -> bool:
        """Whether the server answers; a question that it leaves open is given up, since it would wait for ever."""
        here = {**os.environ, **self.environment}
        with suppress(subprocess.TimeoutExpired):
            return (
                subprocess.run(["pactl", "info"], env=here, capture_output=True, check=False, timeout=2).returncode == 0
            )
        return False

    def suspend(self, *, taken: bool) -> None:
        """Let another program take the loudspeaker for itself alone, as the server tells its own, or give it back."""
        asked = ["pactl", "suspend-sink", "speaker", str(int(taken))]
        subprocess.run(asked, env={**os.environ, **self.environment}, capture_output=True, check=True, timeout=10)

    @contextmanager
    def refusing(self) -> Iterator[None]:
        """The server serves so many others meanwhile that it refuses everybody else."""
        with ExitStack() as stack:
            for _ in range(MOST_CLIENTS + 8):
                one = stack.enter_context(socket.socket(socket.AF_UNIX))
                one.connect(f"{self.folder}/native")
            yield

    def stop(self) -> None:
        """Pull the card out: end the server."""
        if self.server is not None:
            self.server.terminate()
            try:
                self.server.wait(5)
            except subprocess.TimeoutExpired:
                self.server.kill()
                self.server.wait(5)
            self.server = None
        (self.folder / "native").unlink(missing_ok=True)


def main(words: list[str]) -> int:
    """Start or stop by hand; ``start`` prints what the shell should take over."""
    what, folder = words[0], Path(words[1])
    if what == "start":
        loop = AudioLoop(folder)
        loop.start()
        assert loop.server is not None
        (folder / "pid").write_text(str(loop.server.pid))
        sys.stdout.write("export " + " ".join(f"{k}={v}" for k, v in loop.environment.items()) + "\n")
    elif what == "stop":
        os.kill(int((folder / "pid").read_text()), 15)
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))

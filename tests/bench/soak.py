"""Opens, plays, listens and closes again, hundreds of times, to find crashes and leaks in the device libraries.

    python -m tests.bench.soak                     500 loudspeakers and microphones, 200 keyboards and instruments
    python -m tests.bench.soak --streams 50 --midi 20

Starts a sound server and a MIDI system of its own (see tests/sound). A crash prints every thread's place.
"""

from __future__ import annotations

import argparse
import faulthandler
import gc
import os
import random
import resource
import tempfile
import threading
import time
from pathlib import Path

import numpy as np

from tests.sound.audio_loop import AudioLoop
from tests.sound.midi_loop import Gear, MidiLoop
from tutor.errors import PortUnavailable
from tutor.music.phrase import Phrase
from tutor.sound import devices, midi
from tutor.sound.device import Way
from tutor.sound.engine import Engine
from tutor.sound.ports import RATE, Clip
from tutor.sound.stream import Microphone


def main() -> None:
    """Run both, and say what they cost."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--streams", type=int, default=500)
    parser.add_argument("--midi", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    faulthandler.enable()
    dice = random.Random(options.seed)
    folder = Path(tempfile.mkdtemp(prefix="soak-"))
    if options.streams:
        with_streams(folder / "card", options.streams, dice)
    if options.midi:
        with_midi(folder / "ports", options.midi)


def with_streams(folder: Path, times: int, dice: random.Random) -> None:
    """Loudspeakers and microphones that come and go, some closed in mid-sound, some left to the garbage collector."""
    folder.mkdir(parents=True)
    loop = AudioLoop(folder)
    loop.start()
    os.environ.update(loop.environment)
    clip = Clip((0.1 * np.sin(np.arange(RATE) / 20)).astype(np.float32))
    phrase = Phrase.parse("C4:1 E4:1 G4:1 C5:1", bpm=120, line="upper")
    start, refused = time.monotonic(), 0
    try:
        for number in range(times):
            try:
                once(number, clip, phrase, dice)
            except PortUnavailable as error:
                refused += 1
                print(f"  {number}: {error.line}", flush=True)
            if number % 100 == 99:
                print(f"  {number + 1} times, {told()}", flush=True)
                gc.collect()
    finally:
        loop.stop()
    print(f"streams: {times} times in {time.monotonic() - start:.0f} s, {refused} refused, {told()}", flush=True)


def once(number: int, clip: Clip, phrase: Phrase, dice: random.Random) -> None:
    """One loudspeaker and one microphone."""
    way: Way = "miniaudio" if number % 5 == 4 else "portaudio"
    player = devices.open_player(through=way)
    ear = devices.open_ear("ear", through=way if way == "portaudio" else None)
    thread = threading.Thread(target=drain, args=(ear,), daemon=True)
    thread.start()
    engine = Engine(player)
    if number % 2:
        engine.load(phrase)
        engine.play(dice.choice([0.0, 1.5]))
    else:
        player.play(clip)
    time.sleep(dice.choice([0.0, 0.002, 0.02, 0.05]))
    if number % 3 == 0:
        threading.Thread(target=player.close).start()  # while the callback runs, from another thread
    engine.close()
    if number % 7 == 0:
        player.reopen()
    ear.close()
    player.close()
    thread.join(3)
    if thread.is_alive():
        print(f"  {number}: the microphone does not let go", flush=True)


def drain(ear: Microphone) -> None:
    """Listen until the end."""
    for _ in ear.listen():
        pass


def with_midi(folder: Path, times: int) -> None:
    """Keyboards and instruments that come and go."""
    folder.mkdir(parents=True)
    loop = MidiLoop(folder)
    os.environ.update(loop.environment)
    loop.start()
    start, heard = time.monotonic(), list[int]()
    try:
        gear = Gear("soak")
        ports = midi.probe()
        for number in range(times):
            keys, out = midi.MidiKeys(ports.api, None), midi.MidiInstrument(ports.api, ports.outputs[0])
            keys.listen(lambda event: heard.append(event.midi))
            gear.play((0x90, 60, 80))
            out.send(0x90, 60, 80)
            time.sleep(0.02)
            keys.close()
            out.close()
            if number % 50 == 49:
                print(f"  {number + 1} times, {told()}", flush=True)
                gc.collect()
        gear.unplug()
    finally:
        loop.stop()
    print(f"MIDI: {times} times in {time.monotonic() - start:.0f} s, {len(heard)} keys heard, {told()}", flush=True)


def told() -> str:
    """Threads, open files and memory."""
    place = Path("/proc/self/fd")
    files = len(list(place.iterdir())) if place.is_dir() else 0
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    return f"{threading.active_count()} threads, {files} open files, at most {most} MB"


if __name__ == "__main__":
    main()

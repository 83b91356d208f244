"""Quizzes through the studio: made from songs and drills, drawn, rendered and written."""

from __future__ import annotations

import io
import re
import threading
import unicodedata
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

from tutor.errors import PackError, plain
from tutor.music import spoken
from tutor.music.phrase import Phrase
from tutor.practice.catalogue import drills
from tutor.practice.drill import Material, Song
from tutor.quiz import make as making
from tutor.quiz import pack as packs
from tutor.quiz.pack import Pack, Reveal

_CLIP_RATE = 24_000
"""Samples a second of the clips in a page: a piano loses nothing that a question asks about."""
_CLIP_PEAK = 0.85
"""MP3 overshoots near full scale."""
_CLIP_LUFS = -19.0
"""Loudness of every clip: a chord that dies away is as loud as a sung line. Streams keep between -16 and -20 LUFS
(Audio Engineering Society, TD1008, recalled)."""
_CLIP_MOST_GAIN = 8.0
"""A clip that is nearly silent stays so."""
_MOST_STEM = 40
_MOST_PACK_BYTES = packs.MOST_BYTES
TOLD = {
    ".quiz.json": "the quiz with its answers: keep it, it is needed to gather",
    ".html": "for viewers: one file, no network; it hides the answers from a glance, not from an expert",
    ".sheet.html": "to print, with a key",
    ".qti.zip": "for a school's learning system (QTI 2.2); the answers are in it",
}
"""What is written of a quiz: the ending, and what the file is for."""
Step = Callable[[int, int], None]
"""Told how many pieces are done, and how many there are."""


def make_quiz(
    songs: Sequence[Song],
    *,
    title: str,
    introduction: str = "",
    skills: Sequence[tuple[str, str]] = (),
    count: int = 10,
    mix: Sequence[int] = (5, 3, 2),
    reveal: Reveal = "at once",
    seed: int = 1,
) -> Pack:
    """Make a quiz from songs and fresh material.

    Raises:
        PackError: the songs and skills hold too few questions.
    """
    return making.make(
        drills(), Material(songs=tuple(songs)), title=title, introduction=introduction, skills=skills, count=count,
        mix=mix, reveal=reveal, seed=seed,
    )  # fmt: skip


def replace_item(songs: Sequence[Song], pack: Pack, index: int, seed: int) -> Pack:
    """The quiz with one question replaced by a fresh one of the same skill.

    Raises:
        PackError: there is no other.
    """
    return making.another(drills(), Material(songs=tuple(songs)), pack, index, seed)


def load_quiz(path: Path) -> Pack:
    """Read a quiz file that may come from anybody.

    Raises:
        PackError: it cannot be read, or is no quiz.
    """
    try:
        if path.stat().st_size > _MOST_PACK_BYTES:
            raise PackError("the file is too large to be a quiz", where=path.name)
        return packs.loads(path.read_text(encoding="utf-8"), plain(path.name))
    except (OSError, UnicodeDecodeError) as error:
        why = getattr(error, "strerror", None) or "not text"
        raise PackError(f"the file cannot be read ({why})", where=path.name, remedy="Check the path") from None


def quiz_page(pack: Pack) -> str:
    """The quiz as one offline page; takes a second or two."""
    from tutor.quiz.page import page
    from tutor.score.engrave import engrave

    return page(pack, engrave=engrave, sound=mp3, describe=describe)


def stem_of(title: str) -> str:
    """A file name from a title, whole words of it: “Über Tränen: was hörst du?” gives 'uber-tranen-was-horst-du'."""
    bare = unicodedata.normalize("NFKD", title.casefold())
    words = re.sub(r"[^a-z0-9]+", "-", "".join(c for c in bare if not unicodedata.combining(c))).strip("-")
    return (
        words if len(words) <= _MOST_STEM else words[: _MOST_STEM + 1].rpartition("-")[0] or words[:_MOST_STEM]
    ) or "quiz"


def write_quiz(
    pack: Pack, folder: Path, *, kinds: Sequence[str] = tuple(TOLD), step: Step = lambda done, of: None,
    stop: threading.Event | None = None,
) -> list[Path]:  # fmt: skip
    """Write a quiz into a folder, never over a file that is there; takes seconds, so call it from a worker.

    Nothing is written before everything is made: a quiz that is given up leaves no half folder.

    Args:
        pack: the quiz.
        folder: made if it is not there.
        kinds: which of `TOLD`.
        step: told of the progress.
        stop: set by another thread to give up.

    Raises:
        PackError: the folder cannot be written or holds such files, the sound cannot be made, or it was given up.
    """
    names = [f"{stem_of(pack.title)}{kind}" for kind in kinds]
    there = next((n for n in names if (folder / n).exists()), None)
    if there:
        raise PackError("there is a file of that name already", where=there, remedy="Name another folder")
    press = _Press(pack, kinds, step, stop or threading.Event())
    made = [press.make(kind) for kind in kinds]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, data in zip(names, made, strict=True):
            with (folder / name).open("xb") as file:
                file.write(data)
    except OSError as error:
        raise PackError(
            f"the folder cannot be written ({error.strerror})", where=folder.name, remedy="Name another folder"
        ) from None
    return [folder / n for n in names]


class _Press:
    """Makes the files of a quiz; each staff is drawn and each clip rendered once for all of them."""

    def __init__(self, pack: Pack, kinds: Iterable[str], step: Step, stop: threading.Event) -> None:
        self._pack, self._step, self._stop = pack, step, stop
        self._staves: dict[Phrase, str] = {}
        self._clips: dict[Phrase, bytes] = {}
        wanted = set(kinds)
        sound, seen = wanted & {".html", ".qti.zip"}, wanted - {".quiz.json"}
        heard = {e.phrase for i in pack.items for e in i.heard} if sound else set()
        staves = {e.phrase for i in pack.items for e in i.seen} if seen else set()
        evidence = {e.phrase for i in pack.items for e in i.evidence} if wanted & {".html", ".qti.zip"} else set()
        self._pieces = len(heard) + len(staves | evidence)

    def make(self, kind: str) -> bytes:
        """One of the files."""
        from tutor.quiz import page
        from tutor.quiz.qti import package

        if kind == ".quiz.json":
            return packs.dumps(self._pack).encode()
        if kind == ".html":
            return page.page(self._pack, engrave=self._staff, sound=self._clip, describe=describe).encode()
        if kind == ".sheet.html":
            return page.sheet(self._pack, engrave=self._staff).encode()
        return package(
            self._pack, engrave=lambda p: _whole(self._staff(p)), sound=self._clip, describe=describe
        )  # fmt: skip

    def _staff(self, phrase: Phrase) -> str:
        from tutor.score.engrave import engrave

        if phrase not in self._staves:
            self._tick()
            self._staves[phrase] = engrave(phrase)
        return self._staves[phrase]

    def _clip(self, phrase: Phrase) -> bytes:
        if phrase not in self._clips:
            self._tick()
            self._clips[phrase] = mp3(phrase)
        return self._clips[phrase]

    def _tick(self) -> None:
        if self._stop.is_set():
            raise PackError("given up: nothing was written")
        self._step(len(self._staves) + len(self._clips), self._pieces)


def drawn(phrase: Phrase) -> str:
    """A phrase as a whole SVG file, with the style it needs."""
    from tutor.score.engrave import engrave

    return _whole(engrave(phrase))


def _whole(svg: str) -> str:
    from tutor.score.engrave import STYLE

    head, _, rest = svg.partition(">")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{head}><style>{STYLE} [data-mark]{{color:#854600}}</style>{rest}'


def mp3(phrase: Phrase) -> bytes:
    """A phrase as an MP3 file.

    Raises:
        PackError: the library that writes it is missing.
    """
    try:
        import soundfile
    except (ImportError, OSError) as error:
        raise PackError("clips cannot be written without soundfile", remedy="Run: pip install soundfile") from error
    from tutor.sound.loudness import loudness
    from tutor.sound.synth import render

    samples = render(phrase, rate=_CLIP_RATE).samples
    peak = float(abs(samples).max()) if len(samples) else 0.0
    if peak > 0:
        gain = 10 ** ((_CLIP_LUFS - loudness(samples, _CLIP_RATE)) / 20)
        samples = samples * min(gain, _CLIP_MOST_GAIN, _CLIP_PEAK / peak)
    out = io.BytesIO()
    with soundfile.SoundFile(
        out, "w", samplerate=_CLIP_RATE, channels=1, format="MP3", bitrate_mode="VARIABLE", compression_level=0.6
    ) as file:
        for at in range(0, len(samples), 1 << 16):
            file.write(samples[at : at + (1 << 16)])
    return out.getvalue()


def describe(phrase: Phrase) -> str:
    """What a staff shows, in one line of words that a screen reader can say."""
    return " ".join(spoken.describe(phrase, signs=False).splitlines())


def choosable() -> list[tuple[str, list[tuple[str, str, str]]]]:
    """What a quiz can ask: for each drill its title, and (drill, skill, words) for what is answered by a choice.

    Skills that need a song are among them; whether the songs at hand hold something for them shows when a quiz is made.
    """
    out = []
    for drill in drills():
        ask: Callable[[str], str] = getattr(drill, "ask_of", lambda skill: "choice")
        words: Callable[[str], str] = getattr(drill, "words", str)
        skills = [(drill.name, s, words(s)) for s in drill.skills if ask(s) == "choice"]
        if skills:
            out.append((drill.title, skills))
    return out

"""The bass line: follow it, play it, sing it.

Axes of difficulty: three bass notes, then seven; roots, then inversions; block chords, then broken ones. Played and
sung lines may lie in another octave as a whole.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from drills._draw import Draw, Drawn, and_list, capital, key_heard, number, pretty_key
from drills._modal import degree_words
from drills._sheet import Part, Sheet
from drills._songs import bass_agrees, per_song
from drills._texture import laid
from drills._voicing import lead
from tutor.analysis.findings import ChordSpan
from tutor.music.phrase import Phrase, Tone
from tutor.music.pitch import Pitch, pretty
from tutor.music.progression import figures, harmonies
from tutor.music.roman import printed
from tutor.music.scale import Key
from tutor.practice.drill import Choice, Excerpt, Song
from tutor.practice.material import bar_words, beat_words, cut, lowest_sounding, source_words, sure_chords, whole_bars

MOVES = {
    "step up": "a step up", "step down": "a step down", "leap up": "a leap up", "leap down": "a leap down",
    "stays": "it stays",
}  # fmt: skip


def _setting(draw: Draw, count: int) -> tuple[Key, tuple[str, ...], list[Pitch], Phrase] | None:
    """A progression: key, figures, bass notes, sound."""
    key = draw.key()
    names = figures(draw.rng, key.mode, max(4, count), rich=draw.level > 0.25)
    voicings = lead(harmonies(names, key), draw.rng)
    if voicings is None:
        return None
    names, voicings = names[-count:], voicings[-count:]
    texture = draw.rng.choice(("block", "afterbeat", "broken") if draw.level > 0.4 else ("block",))
    phrase = laid(voicings, key, [2.0] * len(names), draw.bpm(66, 92), texture)
    return key, names, [v[0] for v in voicings], phrase


def _bass_marked(phrase: Phrase, basses: Sequence[Pitch], names: Sequence[str], mark: str = "target") -> Phrase:
    tones = []
    for tone in phrase.tones:
        place = int(tone.onset_quarters // 2)
        lowest = tone.onset_quarters == 2.0 * place and place < len(basses) and tone.midi == basses[place].midi
        tones.append(replace(tone, mark=mark) if lowest else tone)
    return replace(phrase, tones=tuple(tones), figures=tuple((2.0 * i, n) for i, n in enumerate(names)))


def _degrees(key: Key, basses: Sequence[Pitch]) -> str:
    return " ".join(degree_words(key.degree_of(p.pitch_class)) for p in basses)


def _names(basses: Sequence[Pitch]) -> str:
    return "–".join(pretty(p.pitch_class.name) for p in basses)


def _move(a: Pitch, b: Pitch) -> str:
    if a.midi == b.midi:
        return "stays"
    size = "step" if abs(a.diatonic - b.diatonic) <= 1 else "leap"
    return f"{size} {'up' if b.midi > a.midi else 'down'}"


def last_move(draw: Draw) -> Sheet | None:
    """How the bass moves between the last two of a few chords."""
    made = _setting(draw, 2 + round(draw.level * 2))
    if made is None:
        return None
    key, names, basses, phrase = made
    # Cut so that every kind of move comes up, not only that into the final tonic.
    wanted = draw.rng.choice(tuple(MOVES)[:4])
    ends = [i for i in range(1, len(basses)) if _move(basses[i - 1], basses[i]) == wanted]
    if not ends:
        return None
    count = draw.rng.choice(ends) + 1
    names, basses = names[:count], basses[:count]
    phrase = replace(phrase, tones=tuple(t for t in phrase.tones if t.onset_quarters < 2.0 * count))
    bass = tuple(Tone(2.0 * i, 2.0, p, "lower") for i, p in enumerate(basses))
    alone = Phrase(bass, bpm=phrase.bpm, fifths=key.fifths)
    return Sheet(
        prompt=f"{capital(number(count))} chords. How does the bass move into the last one?", ask="choice",
        right=wanted, words=MOVES[wanted], why=f"The bass goes {_names(basses[-2:])}: {MOVES[wanted]}.",
        shown=Excerpt("The bass marked", _bass_marked(phrase, basses, names, "bass")),
        heard=(Excerpt("The chords", phrase),), choices=tuple(Choice(x, MOVES[x]) for x in tuple(MOVES)[:4]),
        contrasts={x: Excerpt("The bass alone", alone) for x in MOVES if x != wanted},
        hint="Hum the lowest note of each chord.",
    )  # fmt: skip


def which_line(draw: Draw) -> Sheet | None:
    """Which line of degrees the bass makes."""
    made = _setting(draw, 3 + round(draw.level * 2))
    if made is None:
        return None
    key, names, basses, phrase = made
    right = _degrees(key, basses)
    pool = {right: right} | {x: x for x in _near_lines(draw, key, basses)}
    if len(pool) < 3 or len(set(right.split())) < 2:
        return None
    order = sorted(pool)
    return Sheet(
        prompt="Which degrees of the scale does the bass run through?", ask="choice", right=right,
        words=right.replace(" ", "–"), why=f"In {pretty_key(key)} the bass is {_names(basses)}, degrees {right}.",
        shown=Excerpt("The bass marked", _bass_marked(phrase, basses, names, "bass")),
        heard=(key_heard(draw, key), Excerpt("The chords", phrase)),
        choices=tuple(Choice(x, x.replace(" ", "–")) for x in order),
        contrasts={x: Excerpt(f"For comparison: {x}", _line(key, x, basses[0].octave, phrase.bpm))
                   for x in order if x != right},
        hint="Hum the lowest notes, then count from the tonic.",
    )  # fmt: skip


def _near_lines(draw: Draw, key: Key, basses: Sequence[Pitch]) -> list[str]:
    """Up to three other lines, each with one or two inner notes a step or two away in the scale."""
    own = [key.degree_of(p.pitch_class) for p in basses]
    found: list[str] = []
    for _ in range(24):
        line = list(own)
        for at in draw.rng.sample(range(len(line) - 1), min(len(line) - 1, draw.rng.choice((1, 1, 2)))):
            number = (int(line[at][-1]) - 1 + draw.rng.choice((-2, -1, 1, 2))) % 7
            line[at] = key.degrees[number]
        text = " ".join(degree_words(d) for d in line)
        if line != own and text not in found:
            found.append(text)
        if len(found) == 3:
            break
    return found


def _line(key: Key, degrees: str, octave: int, bpm: float) -> Phrase:
    pitches = [key.pitch(d.replace("♭", "b").replace("♯", "#"), octave) for d in degrees.split()]
    return Phrase(tuple(Tone(2.0 * i, 2.0, p, "lower") for i, p in enumerate(pitches)), bpm=bpm, fifths=key.fifths)


def _notated(draw: Draw, *, sung: bool) -> Sheet | None:
    made = _setting(draw, 3 + round(draw.level * 4))
    if made is None:
        return None
    key, names, basses, phrase = made
    targets = basses if not sung else _fitted(basses, draw.material.low_midi, draw.material.high_midi)
    if targets is None:
        return None
    words = _names(basses)
    return Sheet(
        prompt=f"{'Sing' if sung else 'Play'} the {number(len(basses))} bass notes in order; the line as a whole may "
        f"lie in another octave. The first is {pretty(basses[0].pitch_class.name)}.",
        ask="take" if sung else "notes", right=_degrees(key, basses), words=words,
        why=f"In {pretty_key(key)} the bass is {words}, degrees {_degrees(key, basses)}; the chords are "
        f"{' '.join(names)}.",
        shown=Excerpt("The bass marked", _bass_marked(phrase, basses, names)),
        heard=(key_heard(draw, key), Excerpt("The chords", phrase)),
        wanted=tuple((p.midi, 2.0 * i, 2.0) for i, p in enumerate(targets)), any_octave=True, bpm=phrase.bpm,
        also=("notes",) if sung else (), hint="Hum along with the lowest line until you have it.",
    )  # fmt: skip


def _fitted(basses: Sequence[Pitch], low: int, high: int) -> list[Pitch] | None:
    """The line moved by octaves into the singer's range; None if it is too wide."""
    for octaves in range(-1, 4):
        line = [Pitch(p.step, p.alter, p.octave + octaves) for p in basses]
        if all(low <= p.midi <= high for p in line):
            return line
    return None


def play_bass(draw: Draw) -> Sheet | None:
    """Play the bass."""
    return _notated(draw, sung=False)


def sing_bass(draw: Draw) -> Sheet | None:
    """Sing the bass."""
    return _notated(draw, sung=True)


@per_song
def _runs(song: Song) -> list[tuple[ChordSpan, ...]]:
    """Three or four sure chords in a row whose bass is settled."""
    sure = [c for c in sure_chords(song) if c.end - c.start >= 1.0 and bass_agrees(song, c)]
    out = []
    for i in range(len(sure)):
        run = [sure[i]]
        for span in sure[i + 1 : i + 4]:
            if abs(span.start - run[-1].end) < 1e-6:
                run.append(span)
        if len(run) >= 3 and len({c.bass for c in run}) > 1:
            out.append(tuple(run))
    return out


def song(draw: Draw) -> Sheet | None:
    """The bass of a passage of a song."""
    chosen = draw.song(lambda s: bool(_runs(s)))
    run = draw.rng.choice(_runs(chosen))
    start, end = whole_bars(chosen.table, run[0].start, run[-1].end)
    phrase = cut(chosen.table, run[0].start, run[-1].end)
    pitches = []
    for span in run:
        sounding = [n for n in chosen.table.notes if n.onset_quarters <= span.start + 1e-6 < n.end_quarters]
        lowest = lowest_sounding(sounding)
        if lowest is None:
            return None
        pitches.append(lowest.pitch)
    at = {round(c.start - run[0].start, 6): p.midi for c, p in zip(run, pitches, strict=True)}
    tones = tuple(
        replace(t, mark="target") if at.get(round(t.onset_quarters, 6)) == t.midi and t.line != "voice" else t
        for t in phrase.tones
    )
    figured = replace(phrase, tones=tones, figures=tuple((c.start - run[0].start, printed(c.figure)) for c in run))
    names = _names(pitches)
    where = bar_words(chosen.table, run[0].start, run[-1].end)
    return Sheet(
        prompt=f"Play the {number(len(run))} bass notes {_places(run)}; the line as a whole may lie in another octave.",
        ask="notes", right=names, words=names, why=f"{capital(where)}: the bass is {names}.",
        shown=Excerpt(source_words(chosen, start, end), figured),
        heard=(Excerpt(source_words(chosen, start, end), phrase),),
        wanted=tuple((p.midi, c.start - run[0].start, c.end - c.start) for c, p in zip(run, pitches, strict=True)),
        any_octave=True, bpm=phrase.bpm, source=source_words(chosen, start, end), song_id=chosen.id,
        hint="Listen to the left hand of the piano.",
    )  # fmt: skip


def _places(run: Sequence[ChordSpan]) -> str:
    """'on beats 2, 3 and 4 of bar 12', 'on beat 1 of bars 71, 72 and 73', 'on beat 2 of bar 7 and beat 1 of bar 8'."""
    bars, beats = list(dict.fromkeys(c.bar for c in run)), [beat_words(c.beat) for c in run]
    if len(bars) == 1:
        return f"on beats {and_list([b.removeprefix('beat ') for b in beats])} of bar {bars[0]}"
    if len(set(beats)) == 1:
        return f"on {beats[0]} of bars {and_list(bars)}"
    return f"on {and_list([f'{b} of bar {c.bar}' for b, c in zip(beats, run, strict=True)])}"


LABELS = MOVES

PARTS = {
    "last-move": Part("how the bass moves, by ear", last_move),
    "which-line": Part("which degrees the bass runs through, by ear", which_line),
    "play": Part("play the bass", play_bass, ask="notes"),
    "sing": Part("sing or play the bass", sing_bass, ask="take"),
    "song": Part("play the bass of your song", song, song=True, ask="notes"),
}


class BassLine(Drawn):
    """The drill."""

    name = "bass-line"
    title = "Bass line"
    about = "Follow the lowest line, play it and sing it."
    lesson = "bass-lines"
    parts = PARTS
    labels = LABELS


drill = BassLine()

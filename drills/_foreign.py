"""Progressions with a chord foreign to the key: lent, or applied.

Lent chords take their foreign tones from the parallel minor; the Neapolitan sixth alone from Phrygian.
"""

from __future__ import annotations

from dataclasses import replace

from drills._chords import ORDINALS, tone_words
from drills._draw import Draw, and_list, key_heard, number, stretch
from drills._modal import degree_words
from drills._sheet import Sheet
from drills._texture import laid
from drills._voicing import lead
from tutor.music.phrase import Phrase
from tutor.music.progression import Harmony, harmonies
from tutor.music.scale import Key
from tutor.practice.drill import Choice, Excerpt

LENT = {
    "iv": (("I", "IV", "iv", "I"), ("I", "iv", "I"), ("I", "vi", "IV", "iv", "I"), ("I", "iv", "V7", "I")),
    "bVI": (("I", "bVI", "iv", "I"), ("I", "IV", "bVI", "bVII", "I"), ("I", "vi", "bVI", "V", "I"),
            ("I", "bVI", "bVII", "I")),
    "bVII": (("I", "bVII", "IV", "I"), ("I", "V", "bVII", "IV", "I"), ("I", "vi", "bVII", "IV", "I"),
             ("I", "bVII", "I")),
    "bIII": (("I", "bIII", "IV", "I"), ("I", "vi", "bIII", "IV", "I"), ("I", "bIII", "IV", "V", "I")),
    "iiø65": (("I", "iiø65", "V7", "I"), ("I", "vi", "iiø65", "V7", "I"), ("I", "IV", "iiø65", "V", "I")),
    "bII6": (("I", "bII6", "V", "I"), ("I", "vi", "bII6", "V7", "I"), ("I", "IV", "bII6", "V7", "I")),
}  # fmt: skip
LENT_TEXT = {
    "iv": "iv: the minor subdominant", "bVI": "♭VI: major, on the lowered sixth degree",
    "bVII": "♭VII: major, on the lowered seventh degree", "bIII": "♭III: major, on the lowered third degree",
    "iiø65": "iiø65: half-diminished, on degree 2", "bII6": "♭II6: the Neapolitan sixth, on the lowered second",
}  # fmt: skip
APPLIED = {
    "ii": (("I", "V7/ii", "ii", "V7", "I"), ("I", "V65/ii", "ii", "V", "I"), ("I", "IV", "V7/ii", "ii", "V7", "I"),
           ("I", "viio7/ii", "ii", "V", "I")),
    "IV": (("I", "V7/IV", "IV", "V", "I"), ("I", "V65/IV", "IV", "V7", "I"), ("I", "vi", "V7/IV", "IV", "V", "I")),
    "V": (("I", "V7/V", "V", "I"), ("I", "V65/V", "V", "I"), ("I", "vi", "V7/V", "V", "I"), ("I", "viio7/V", "V", "I"),
          ("I", "IV", "viio7/V", "V", "I")),
    "vi": (("I", "V7/vi", "vi", "IV", "V", "I"), ("I", "V65/vi", "vi", "ii6", "V", "I"), ("I", "IV", "V7/vi", "vi", "V",
            "I"), ("I", "viio7/vi", "vi", "IV", "V", "I")),
}  # fmt: skip
APPLIED_TEXT = {
    "ii": "to the chord on degree 2 (ii)", "IV": "to the subdominant (IV)", "V": "to the dominant (V)",
    "vi": "to the chord on degree 6 (vi)",
}  # fmt: skip
KINDS = {
    "lent": "lent by another mode on the same tonic",
    "applied": "part of an applied chord (one that leads into the chord after it)",
    "chromatic": "only melodic: it passes or turns between its neighbours",
}


def _progression(draw: Draw, names: tuple[str, ...], key: Key) -> tuple[Phrase, tuple[Harmony, ...]] | None:
    chords = harmonies(names, key)
    if any(abs(t.alter) > 1 for h in chords for t in h.chord.tones):
        return None
    foreign = [i for i, h in enumerate(chords) if h.altered]
    voicings = lead(chords, draw.rng, whole=foreign)
    if voicings is None:
        return None
    texture = draw.rng.choice(("block", "broken", "afterbeat")) if draw.level > 0.5 else "block"
    return laid(voicings, key, [2.0] * len(names), draw.bpm(72, 100), texture), chords


def _figured(phrase: Phrase, names: tuple[str, ...], chords: tuple[Harmony, ...]) -> Phrase:
    """Figures below and every altered tone marked."""
    tones = []
    for tone in phrase.tones:
        chord = chords[min(len(chords) - 1, int(tone.onset_quarters // 2))]
        tones.append(replace(tone, mark="borrowed") if tone.pitch.pitch_class in chord.altered else tone)
    return replace(phrase, tones=tuple(tones), figures=tuple((2.0 * i, n) for i, n in enumerate(names)))


def _drawn(draw: Draw, kind: str, label: str) -> tuple[Key, tuple[str, ...], int, Phrase, tuple[Harmony, ...]] | None:
    """A progression of a kind: key, figures, place of the (first) altered chord, sound, chords."""
    key = draw.key("major")
    names = draw.rng.choice((LENT if kind == "lent" else APPLIED)[label])
    made = _progression(draw, names, key)
    if made is None:
        return None
    place = next(i for i, h in enumerate(made[1]) if h.altered)
    return key, names, place, *made


def _altered_words(chord: Harmony) -> str:
    return and_list([f"{tone_words(t)} ({degree_words(chord.key.degree_of(t))})" for t in chord.altered])


def lent_or_applied(draw: Draw) -> Sheet | None:
    """A foreign chord: lent by the parallel minor, or applied to the next."""
    right = draw.rng.choice(("lent", "applied"))
    label = draw.rng.choice([x for x in (LENT if right == "lent" else APPLIED)][: 3 + round(draw.level * 3)])
    made = _drawn(draw, right, label)
    if made is None:
        return None
    key, names, place, phrase, chords = made
    after = names[place + 1]
    why = (
        f"The {ORDINALS[place]} chord, {_figure(names[place])}, has {_altered_words(chords[place])} from a darker "
        "mode on the same tonic; it is no dominant of the chord that follows."
        if right == "lent"
        else f"The {ORDINALS[place]} chord, {_figure(names[place])}, has {_altered_words(chords[place])} and "
        f"resolves as a dominant to the next, {_figure(after)}."
    )
    texts = {x: KINDS[x] for x in ("lent", "applied")}
    other = "applied" if right == "lent" else "lent"
    others = _drawn(replace(draw, level=0.2), other, "IV" if other == "applied" else "iv")
    contrasts = (
        {other: Excerpt(f"For comparison: {other}", _figured(others[3], others[1], others[4]))} if others else {}
    )
    return Sheet(
        prompt=f"The {ORDINALS[place]} of {number(len(names))} chords is foreign to the key. Where does it come from?",
        ask="choice", right=right, words=KINDS[right], why=why,
        shown=Excerpt("The foreign tones marked", _figured(phrase, names, chords)),
        heard=(key_heard(draw, key), Excerpt("The progression", phrase)),
        choices=tuple(Choice(x, t) for x, t in texts.items()), contrasts=contrasts,
        hint="Does the next chord sound like its goal?",
    )  # fmt: skip


def _figure(name: str) -> str:
    return name.replace("b", "♭").replace("#", "♯")


def lent_chord(draw: Draw) -> Sheet | None:
    """Which lent chord."""
    right = draw.rng.choice(tuple(LENT)[: 3 + round(draw.level * 3)])
    made = _drawn(draw, "lent", right)
    if made is None:
        return None
    key, names, place, phrase, chords = made
    if names[place] != right or sum(1 for h in chords if h.altered) > 1:
        return None
    choices = draw.choose(right, LENT_TEXT, 3 + round(draw.level * 2))
    contrasts = {}
    for choice in choices:
        swapped = (*names[:place], choice.label, *names[place + 1 :])
        other = _progression(draw, swapped, key) if choice.label != right else None
        if other is not None:
            contrasts[choice.label] = Excerpt(f"With {_figure(choice.label)}", _figured(other[0], swapped, other[1]))
    return Sheet(
        prompt=f"The {ORDINALS[place]} of {number(len(names))} chords is lent by a darker mode on the same tonic. "
        "Which is it?",
        ask="choice", right=right, words=LENT_TEXT[right],
        why=f"The progression is {' '.join(_figure(n) for n in names)}; the foreign "
        f"{'tone is' if len(chords[place].altered) == 1 else 'tones are'} {_altered_words(chords[place])}.",
        shown=Excerpt("The foreign tones marked", _figured(phrase, names, chords)),
        heard=(key_heard(draw, key), Excerpt("The progression", phrase)), choices=choices, contrasts=contrasts,
        hint="Sing the root of the foreign chord and place it in the scale.",
    )  # fmt: skip


def applied_to(draw: Draw) -> Sheet | None:
    """Where an applied chord leads."""
    right = draw.rng.choice(tuple(APPLIED))
    made = _drawn(draw, "applied", right)
    if made is None:
        return None
    key, names, place, phrase, chords = made
    leading = chords[place].leading
    lead_in = tone_words(leading) if leading else ""
    goal = tone_words(chords[place + 1].chord.root)
    return Sheet(
        prompt=f"The {ORDINALS[place]} of {number(len(names))} chords is applied. To which chord does it lead?",
        ask="choice", right=right, words=APPLIED_TEXT[right],
        why=f"{_figure(names[place])} resolves to {_figure(names[place + 1])}: its leading tone {lead_in} rises to "
        f"{goal}.",
        shown=Excerpt("The foreign tones marked", _figured(phrase, names, chords)),
        heard=(key_heard(draw, key), Excerpt("The progression", phrase)),
        choices=draw.choose(right, APPLIED_TEXT, 3 if draw.level < 0.4 else 4),
        contrasts=_applied_contrasts(draw, key, right),
        hint="Sing the root of the chord after it and place it in the scale.",
    )  # fmt: skip


def _applied_contrasts(draw: Draw, key: Key, right: str) -> dict[str, Excerpt]:
    out = {}
    for label in APPLIED:
        made = _progression(replace(draw, level=0.2), APPLIED[label][0], key) if label != right else None
        if made is not None:
            out[label] = Excerpt(
                f"For comparison: {APPLIED_TEXT[label]}", _figured(made[0], APPLIED[label][0], made[1])
            )
    return out


def find_place(draw: Draw) -> Sheet | None:
    """In which bar the foreign tone comes."""
    kind = draw.rng.choice(("lent", "applied"))
    label = draw.rng.choice(tuple(LENT if kind == "lent" else APPLIED))
    front = draw.rng.choice((("I",), ("I", "V"), ("I", "IV"), ("I", "vi"), ("I", "IV", "V")))
    made = _drawn(draw, kind, label)
    if made is None:
        return None
    key, tail, *_ = made
    names = (*front, *tail) if front[-1] != tail[0] else tail
    full = _progression(draw, names, key)
    if full is None or sum(1 for h in full[1] if h.altered) != 1 or len(names) > 8:
        return None
    phrase, chords = full
    place = next(i for i, h in enumerate(chords) if h.altered)
    pool = {ORDINALS[i]: f"the {ORDINALS[i]} chord" for i in range(len(names))}
    right = ORDINALS[place]
    shown = Excerpt("The foreign tones marked", _figured(phrase, names, chords))
    return Sheet(
        prompt=f"One of these {number(len(names))} chords is foreign to the key. Which?", ask="choice", right=right,
        words=pool[right], why=f"It is {_figure(names[place])}, with {_altered_words(chords[place])}.", shown=shown,
        heard=(key_heard(draw, key), Excerpt("The progression", phrase)), choices=draw.choose(right, pool, 5),
        contrasts={ORDINALS[i]: Excerpt(f"The {ORDINALS[i]} chord alone", stretch(phrase, 2.0 * i, 2.0 * i + 2))
                   for i in range(len(names)) if i != place}, hint="Tap along; notice where the colour changes.",
    )  # fmt: skip


def compared(draw: Draw) -> dict[str, Excerpt]:
    """A short example of each kind of foreign tone."""
    out = {}
    for kind, label in (("lent", "iv"), ("applied", "V")):
        made = _drawn(replace(draw, level=0.1), kind, label)
        if made is not None:
            out[kind] = Excerpt(f"For comparison: {KINDS[kind]}", _figured(made[3], made[1], made[4]))
    line = Phrase.parse("G4:1 G#4:1 A4:2", bpm=84.0)
    marked = replace(line, tones=tuple(replace(t, mark="borrowed") if t.pitch.alter else t for t in line.tones))
    out["chromatic"] = Excerpt(f"For comparison: {KINDS['chromatic']}", marked)
    return out

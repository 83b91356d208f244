"""Independent routes to the answers about chords: inversions, borrowed tones, rubs, cadences, qualities, degrees."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise

import music21

from tests.drills.notes import (
    FIGURES,
    INVERSIONS,
    MEMBERS,
    MODES,
    ORDINALS,
    at,
    by_ear,
    chord,
    degree,
    excerpt,
    interval_name,
    key_heard,
    key_named,
    lowest,
    m21_name,
    ordinal_in,
    quality,
    roots_by_ear,
    steps_of,
    voice,
)
from tutor.music.phrase import Phrase, Tone
from tutor.practice.drill import Answer, Drill, Item, Question


def inversion(question: Question, item: Item) -> str | None:
    tones = excerpt(question).tones
    found = chord(tones)
    named = "key" in question.prompt or question.seen or item.song_id
    if not named and len(roots_by_ear(tones)) != 1:
        return "the sound has several readings"
    low = found.bass().name
    label = found.inversion()
    if item.skill == "bass-member":
        return MEMBERS[int(label)] if low else None
    return INVERSIONS[int(label)]


def progression(question: Question, item: Item) -> str:
    place = ordinal_in(question.prompt.split("In which position")[1])
    return INVERSIONS[int(chord(at(question.heard[0].phrase, 2.0 * place)).inversion())]


def figures_write(question: Question, item: Item) -> str:
    tones = question.seen[0].phrase.tones
    low = lowest(tones)
    sizes = {
        (music21.interval.Interval(music21.pitch.Pitch(m21_name(low)), music21.pitch.Pitch(m21_name(t)))
         .generic.simpleUndirected) for t in tones
    }  # fmt: skip
    return FIGURES[tuple(sorted(sizes - {1}, reverse=True))]


def figures_read(question: Question, item: Item, drill: Drill) -> str:
    """Of the choices, the one whose tones the figures ask for: letters counted from the bass, in the signature."""
    figured = question.seen[0].phrase
    place = ordinal_in(question.prompt) if "bass note is" in question.prompt else 0
    bass, figure = figured.tones[place], figured.figures[place][1]
    signs = {int(n or 3): s for s, n in re.findall(r"([♯♭♮]?)(\d?)(?:/|$)", figure) if s or n}
    numbers = tuple(sorted({*signs, 3} if set(signs) in ({6}, {7}, {3}) else signs, reverse=True))
    short = {"6": (6, 3), "7": (7, 5, 3), "6/5": (6, 5, 3), "4/3": (6, 4, 3), "4/2": (6, 4, 2)}
    plain = re.sub(r"[♯♭♮]", "", figure) or "3"
    full = {"3": (5, 3), "7/3": (7, 5, 3), "7/5": (7, 5, 3), "7/5/3": (7, 5, 3), "6/3": (6, 3), "6/4/3": (6, 4, 3),
            "6/4/2": (6, 4, 2), "6/5/3": (6, 5, 3), **short}.get(plain, numbers)  # fmt: skip
    signature = music21.key.KeySignature(figured.fifths)
    fits = []
    for choice in question.choices:
        names = [x.replace("♯", "#").replace("♭", "b") for x in re.findall(r"[A-G][♯♭]*", choice.text.split("(")[1])]
        sizes = {("CDEFGAB".index(x[0]) - "CDEFGAB".index(bass.pitch.step)) % 7 + 1: x for x in names}
        good = names[0] == bass.pitch.pitch_class.name and tuple(sorted(set(sizes) - {1}, reverse=True)) == full
        for number, name in sizes.items():
            given = signature.accidentalByStep(name[0])
            own = {"♯": 1, "♭": -1, "♮": 0}.get(signs.get(number, ""), int(given.alter) if given else 0)
            good = good and (number == 1 or name.count("#") - name.count("b") == own)
        fits += [choice.label] if good else []
    assert len(fits) == 1, fits
    return fits[0]


def two_basses(question: Question, item: Item) -> str:
    count = round(question.heard[1].phrase.length_quarters / 2)
    stepwise, roots = [], []
    for heard in question.heard[1:]:
        lows = [lowest(at(heard.phrase, 2.0 * i)) for i in range(count)]
        stepwise.append(sum(abs(a.pitch.diatonic - b.pitch.diatonic) == 1 for a, b in pairwise(lows)))
        roots.append(sum(c.inversion() == 0 for c in steps_of(heard.phrase, count)))
    a, b = (c for c in question.heard[1:])
    for x, y in zip(steps_of(a.phrase, count), steps_of(b.phrase, count), strict=True):
        assert x.root().name == y.root().name
    values = stepwise if "step" in question.prompt else roots
    assert values[0] != values[1]
    return "first" if values[0] > values[1] else "second"


def two_basses_where(question: Question, item: Item) -> str:
    count = round(question.heard[2].phrase.length_quarters / 2)
    over = steps_of(question.heard[1].phrase, count)
    assert all(c.inversion() == 0 for c in over)
    return ORDINALS[next(i for i, c in enumerate(steps_of(question.heard[2].phrase, count)) if c.inversion())]


def wanted_bass(question: Question, item: Item, right: Answer) -> str | None:
    low = lowest(excerpt(question).tones)
    notes = right.take.notes if right.take else ()
    return None if len(notes) == 1 and round(notes[0].midi) % 12 == low.midi % 12 else "another note is wanted"


def altered(key: music21.key.Key, tones: Sequence[Tone]) -> set[str]:
    return {d for d in (degree(key, t) for t in tones) if len(d) > 1}


def bright_dark(question: Question, item: Item) -> str:
    a, b = (voice(e.phrase) for e in question.heard)
    moves = {y.midi - x.midi for x, y in zip(a, b, strict=True)} - {0}
    assert moves in ({1}, {-1})
    return "brighter" if moves == {1} else "darker"


def bent_degree(question: Question, item: Item) -> str:
    phrase = excerpt(question)
    tonic = min((t for t in phrase.tones if t.line == "lower"), key=lambda t: t.midi)
    if question.heard:
        assert key_heard(question).tonic.name == m21_name(tonic)[:-1]
    found = altered(key_named(m21_name(tonic)[:-1]), voice(phrase))
    assert len(found) == 1, found
    return next(iter(found))


def mode(question: Question, item: Item) -> str:
    phrase = excerpt(question)
    tonic = min(t.midi for t in phrase.tones if t.line == "lower")
    found = tuple(sorted({(t.midi - tonic) % 12 for t in voice(phrase)}))
    return next(m for m, shape in MODES.items() if shape == found)


def foreign_places(question: Question) -> tuple[music21.key.Key, list[music21.chord.Chord], list[int]]:
    key = key_heard(question)
    phrase = question.heard[1].phrase
    count = round(phrase.length_quarters / 2)
    return key, steps_of(phrase, count), [i for i in range(count) if altered(key, at(phrase, 2.0 * i))]


def find_chord(question: Question, item: Item) -> str:
    _, _, places = foreign_places(question)
    assert len(places) == 1
    return ORDINALS[places[0]]


def leads_on(chords: list[music21.chord.Chord], place: int) -> bool:
    """True for a dominant (with seventh) or leading-tone chord that resolves to the next chord's root."""
    here, after = chords[place], chords[place + 1].root().pitchClass
    root = here.root().pitchClass
    if here.isDominantSeventh():
        return bool((root + 5) % 12 == after)
    return bool(here.isDiminishedSeventh() and (root + 1) % 12 == after)


def lent_or_applied(question: Question, item: Item) -> str:
    key, chords, places = foreign_places(question)
    place = ordinal_in(question.prompt)
    assert place == places[0]
    if leads_on(chords, place):
        return "applied"
    tonic = key.tonic.pitchClass
    dark = {(tonic + s) % 12 for s in (1, 3, 8, 10)}
    foreign = {p.pitchClass for p in chords[place].pitches} - {(tonic + s) % 12 for s in (0, 2, 4, 5, 7, 9, 11)}
    assert foreign <= dark
    return "lent"


_LENT = {("b6", "major"): "bVI", ("b7", "major"): "bVII", ("b3", "major"): "bIII", ("4", "minor"): "iv",
         ("2", "half"): "iiø65", ("b2", "major"): "bII6"}  # fmt: skip


def lent_chord(question: Question, item: Item) -> str:
    key, chords, _ = foreign_places(question)
    found = chords[ordinal_in(question.prompt)]
    root = found.root()
    number, accidental = key_named(key.tonic.name).getScaleDegreeAndAccidentalFromPitch(root)
    name = ("b" if accidental is not None and accidental.alter < 0 else "") + str(number)
    kind = "half" if found.isHalfDiminishedSeventh() else "major" if found.isMajorTriad() else "minor"
    return _LENT[name, kind]


def applied_to(question: Question, item: Item) -> str:
    key, chords, _ = foreign_places(question)
    place = ordinal_in(question.prompt)
    assert leads_on(chords, place)
    return str({2: "ii", 4: "IV", 5: "V", 6: "vi"}[key.getScaleDegreeFromPitch(chords[place + 1].root())])


def sung_degree(question: Question, item: Item, right: Answer) -> str | None:
    key = key_heard(question)
    label = re.search(r"([♭♯]?)([1-7])", question.prompt.split("in any")[0].split(".")[-1])
    assert label is not None
    shape = {"1": 0, "2": 2, "3": 4, "4": 5, "5": 7, "6": 9, "7": 11}[label[2]]
    shape += {"♭": -1, "♯": 1, "": 0}[label[1]]
    assert right.take is not None
    return None if (round(right.take.notes[0].midi) - key.tonic.midi - shape) % 12 == 0 else "another note is wanted"


def rests(question: Question, item: Item) -> str:
    tones = excerpt(question, 0).tones
    sung = next(t for t in tones if t.line == "voice").midi
    gaps = {(sung - t.midi) % 12 for t in tones if t.line != "voice"}
    return "rests" if 0 in gaps else "rubs" if gaps & {1, 11} else "colours"


def against(question: Question, item: Item) -> str:
    tones = [t for t in excerpt(question).tones if t.line != "voice"]
    sung = next(t for t in excerpt(question).tones if t.line == "voice").midi
    rubbed = {t.midi % 12 for t in tones if (sung - t.midi) % 12 in (1, 11)}
    assert len(rubbed) == 1
    found = chord(tones)
    steps = {found.root().pitchClass: 0, found.third.pitchClass: 1, found.fifth.pitchClass: 2}
    if found.seventh is not None:
        steps[found.seventh.pitchClass] = 3
    return MEMBERS[steps[rubbed.pop()]]


def outside(question: Question, item: Item) -> str:
    """By how the sung line moves against the two chords."""
    phrase = excerpt(question)
    sung = [t for t in phrase.tones if t.line == "voice"]
    chords = [{t.midi % 12 for t in phrase.tones if t.line != "voice" and t.onset_quarters == o} for o in (0.0, 2.0)]
    if len(sung) == 2:
        held, after = sung
        assert held.midi % 12 in chords[0]
        assert held.midi % 12 not in chords[1]
        assert held.end_quarters > 2.0
        assert after.pitch.diatonic - held.pitch.diatonic == -1
        return "suspension"
    a, b, c = sung
    into, out = b.pitch.diatonic - a.pitch.diatonic, c.pitch.diatonic - b.pitch.diatonic
    assert b.midi % 12 not in chords[int(b.onset_quarters // 2)]
    assert abs(out) == 1
    if abs(into) > 1:
        assert into * out < 0
        assert b.onset_quarters == 2.0
        return "appoggiatura"
    assert b.onset_quarters == 1.0
    return "neighbour" if c.midi == a.midi else "passing" if into == out else "?"


def resolves(question: Question, item: Item) -> str:
    phrase = excerpt(question)
    before = [t for t in phrase.tones if t.onset_quarters < 4]
    after = [t for t in phrase.tones if t.onset_quarters >= 4]
    sung = [next(t.midi for t in x if t.line == "voice") for x in (before, after)]
    held = [{t.midi % 12 for t in x if t.line != "voice"} for x in (before, after)]
    assert any((sung[0] - c) % 12 in (1, 11) for c in held[0])
    if sung[0] != sung[1]:
        assert held[0] == held[1]
        assert sung[1] % 12 in held[1]
        return "voice"
    if held[0] != held[1]:
        assert sung[1] % 12 in held[1]
        return "accompaniment"
    return "nobody"


def last_two(heard: Phrase) -> list[music21.chord.Chord]:
    """The last two chords: one begins every two quarters with its bass; the last lasts four."""
    end = round(heard.length_quarters)
    return [chord(at(heard, end - 6.0)), chord(at(heard, end - 4.0, 4.0))]


def cadence(question: Question, item: Item) -> str | None:
    phrase = excerpt(question)
    key = key_heard(question) if question.heard else key_on_staff(phrase)
    chords = last_two(phrase)
    assert chords[-1].inversion() == 0
    figures = [music21.roman.romanNumeralFromChord(c, key).romanNumeralAlone for c in chords]
    pair = (figures[0].upper(), figures[1].upper())
    return {("V", "I"): "authentic", ("IV", "I"): "plagal", ("V", "VI"): "deceptive"}.get(
        pair, "half" if pair[1] == "V" else None
    )


def positions(question: Question, item: Item) -> str:
    """The last three chords by music21, with the letters of British syllabuses."""
    phrase, key = excerpt(question), key_heard(question)
    end = round(phrase.length_quarters)
    out = []
    for found in (chord(at(phrase, end - 8.0)), chord(at(phrase, end - 6.0)), chord(at(phrase, end - 4.0, 4.0))):
        numeral = music21.roman.romanNumeralFromChord(found, key).romanNumeralAlone.upper()
        seven = "7" if found.seventh is not None else ""
        out.append(f"{numeral}{seven}{'abcd'[int(found.inversion())]}")
    return " ".join(out)


def key_on_staff(phrase: Phrase) -> music21.key.Key:
    """Major or minor by the signature and the first chord, which is the tonic."""
    first = chord(at(phrase, 0.0))
    signature = music21.key.KeySignature(phrase.fifths)
    for mode_ in ("major", "minor"):
        key: music21.key.Key = signature.asKey(mode_)
        if key.tonic.name == first.root().name:
            return key
    raise AssertionError("the first chord is not the tonic")


def firmness(question: Question, item: Item) -> str:
    phrase = excerpt(question)
    key = key_heard(question)
    top = max(at(phrase, round(phrase.length_quarters) - 4.0, 4.0), key=lambda t: t.midi)
    return "perfect-authentic" if degree(key, top) == "1" else "imperfect-authentic"


def chord_kind(question: Question, item: Item) -> str | None:
    tones = excerpt(question).tones
    if "root position" in question.prompt or question.seen or item.song_id:
        return quality(tones, chord(tones).root().pitchClass)
    found = roots_by_ear(tones)
    assert len(found) == 1, found
    return found[0][1]


def tone_degree(question: Question, item: Item) -> str:
    tone = excerpt(question).tones[-1]
    if question.seen:
        named = re.search(r"of ([A-G][♯♭]?) (major|minor)", question.prompt)
        assert named is not None
        return degree(key_named(named[1].replace("♯", "#").replace("♭", "-")), tone)
    return degree(key_heard(question), voice(excerpt(question))[-1])


def wider(question: Question, item: Item) -> str:
    sizes = [abs(e.phrase.tones[1].midi - e.phrase.tones[0].midi) for e in question.heard]
    assert sizes[0] != sizes[1]
    return "first" if sizes[0] > sizes[1] else "second"


def interval_ear(question: Question, item: Item) -> str:
    a, b = excerpt(question).tones
    name = interval_name(a, b)
    return by_ear(name) if question.heard else name


def interval_melody(question: Question, item: Item) -> str:
    numbers = [int(n) for n in re.findall(r"\d+", question.prompt)]
    tones = voice(question.heard[0].phrase)
    return by_ear(interval_name(tones[numbers[0] - 1], tones[numbers[1] - 1]))


def sung_interval(question: Question, item: Item, right: Answer) -> str | None:
    start = question.heard[0].phrase.tones[0].midi
    words = {"second": (1, 2), "third": (3, 4), "sixth": (8, 9), "seventh": (10, 11), "fourth": (5, 5), "fifth": (7, 7),
             "octave": (12, 12)}  # fmt: skip
    noun = next(w for w in words if w in question.prompt)
    size = words[noun]["major" in question.prompt]
    assert right.take is not None
    end = start + (-size if "below" in question.prompt else size)
    return None if round(right.take.notes[0].midi) == end else "another note is wanted"

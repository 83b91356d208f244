"""A song that goes beyond the voice: said plainly, with the keys that fit."""

from __future__ import annotations

from tutor.analysis.findings import Reading
from tutor.errors import plain
from tutor.music.voice import SingerProfile
from tutor.warmup.facts import SongFacts
from tutor.warmup.fit import OCTAVE_LOWER, keys_nearly, keys_that_fit
from tutor.warmup.model import CAUTION, BeyondVoice
from tutor.warmup.words import count, note


def beyond_voice(reading: Reading, singer: SingerProfile, facts: SongFacts, margin: int) -> BeyondVoice:
    """Say that the song goes beyond the voice, and name the keys that fit, or those that nearly do."""
    keys = keys_that_fit(reading, singer, margin_semitones=margin)
    whole = bool(keys)
    keys = keys or keys_nearly(reading, singer, margin_semitones=margin)
    lines = [_matter(singer, facts)]
    if not whole:
        lines.append(
            f"No key holds the whole song: it spans {count(facts.high - facts.low, 'semitone')}, and your comfortable "
            f"range {count(singer.high_midi - singer.low_midi, 'semitone')}."
        )
    if keys:
        best = keys[0]
        name = f", in {best.key}" if best.key else ""
        if best.semitones == -12 and singer.voice in OCTAVE_LOWER:
            lines.append("A man's voice usually sings the treble clef an octave lower than it is printed.")
        lines.append(f"Sing it {best.interval}{name}: {best.words}.")
        lines.append("The first of the keys below sit best." if whole else "Change the lowest notes there.")
    else:
        lines.append("Change some of its notes, or choose another song.")
    lines.append("If you think that your range is wider now, measure it again, rested, and ask your teacher.")
    return BeyondVoice(facts.title, plain(singer.name), tuple(lines), keys, CAUTION)


def _matter(singer: SingerProfile, facts: SongFacts) -> str:
    """What goes beyond the voice."""
    over = facts.high - singer.high_midi
    if over > 0:
        return (
            f"{facts.spelled(facts.peak.pitch.name)} in bar {facts.peak_bar} lies {count(over, 'semitone')} above your "
            f"comfortable top, {note(singer.high_midi)}. There is no warm-up that makes such a note safe today, so "
            "none is given."
        )
    return (
        f"More than half of the song lies below your comfortable bottom, {note(singer.low_midi)}: it goes down to "
        f"{facts.spelled(facts.compass_names[0])}. A warm-up does not add low notes, so none is given."
    )

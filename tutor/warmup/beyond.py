"""A song that goes beyond the voice: said plainly, with the keys that fit."""

from __future__ import annotations

from tutor.analysis.findings import Reading
from tutor.errors import plain
from tutor.music.voice import SingerProfile
from tutor.warmup.facts import SongFacts
from tutor.warmup.fit import keys_that_fit
from tutor.warmup.model import CAUTION, BeyondVoice
from tutor.warmup.words import count, note


def beyond_voice(reading: Reading, singer: SingerProfile, facts: SongFacts, margin: int) -> BeyondVoice:
    """Say that the song goes beyond the voice, and name the keys that fit."""
    keys = keys_that_fit(reading, singer, margin_semitones=margin)
    over = facts.high - singer.high_midi
    peak = facts.spelled(facts.peak.pitch.name)
    lines = [
        f"{peak} in bar {facts.peak_bar} lies {count(over, 'semitone')} above your comfortable top, "
        f"{note(singer.high_midi)}. There is no warm-up that makes such a note safe today, so none is given.",
    ]
    if keys:
        best = keys[0]
        name = f", in {best.key}" if best.key else ""
        lines.append(f"Sing it {best.interval}{name}: {best.words}.")
        lines.append("The other keys below fit too; the first ones sit best.")
    else:
        size = facts.high - facts.low
        lines.append(
            f"No key holds the whole song: it spans {count(size, 'semitone')}, and your comfortable range "
            f"{count(singer.high_midi - singer.low_midi, 'semitone')}. Change a few notes, or choose another song."
        )
    lines.append("If you think that your range is wider now, measure it again, rested, and ask your teacher.")
    return BeyondVoice(facts.title, plain(singer.name), tuple(lines), keys, CAUTION)

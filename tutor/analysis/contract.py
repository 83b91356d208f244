"""A Reading as the JSON document that `larkstair read SONG --json` prints, and back."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from tutor.analysis.findings import (
    Bassline,
    BorrowedTone,
    Change,
    ChangedNote,
    ChordSpan,
    Climax,
    Dose,
    Form,
    HighNote,
    KeySpan,
    Leap,
    ModeSpan,
    OrderSpan,
    PartInfo,
    PhraseEnd,
    PhraseSpan,
    Reading,
    Resolution,
    RestOverUnresolved,
    Return,
    RootRun,
    Rub,
    Section,
    SmoothBass,
    SongInfo,
    Tessitura,
    VoiceProfile,
)
from tutor.music.shape import shaped

ENGINE_VERSION = 12
"""Raised whenever the same table would give another reading; part of the cache key."""

Json = dict[str, Any]


def to_json(reading: Reading) -> Json:
    """The document; its nesting and names are the contract that screens, drills and outside checks read."""
    song = asdict(reading.song)
    source = {"format": song.pop("format"), "sha256": song.pop("sha256")}
    return {
        "schema": reading.schema,
        "engine": ENGINE_VERSION,
        "song": {**song, "source": source, "parts": list(song["parts"])},
        "order": [{"start": o.start, "end": o.end, "pass": o.passing} for o in reading.order],
        "keys": [asdict(k) for k in reading.keys],
        "modes": [{**asdict(m), "bars": list(m.bars)} for m in reading.modes],
        "chords": [_chord(c) for c in reading.chords],
        "borrowed": [{**asdict(b), "modes": list(b.modes)} for b in reading.borrowed],
        "melody": {
            "phrases": [{**asdict(p), "bars": list(p.bars)} for p in reading.phrases],
            "ends": [asdict(e) for e in reading.ends],
            "hanging": [asdict(h) for h in reading.hanging],
        },
        "form": {
            "name": reading.form.name,
            "sections": [{**asdict(s), "bars": list(s.bars)} for s in reading.form.sections],
            "extension": reading.form.extension,
            "confidence": reading.form.confidence,
        },
        "returns": [
            {
                "of": list(r.of),
                "again": list(r.again),
                "transposed": r.transposed,
                "changes": [_change(c) for c in r.changes],
                "shift": r.shift,
            }
            for r in reading.returns
        ],
        "rubs": [asdict(r) for r in reading.rubs],
        "bassline": {
            "root_position_share": reading.bassline.root_position_share,
            "runs": [asdict(r) for r in reading.bassline.runs],
            "smooth": [{**asdict(s), "bass": list(s.bass)} for s in reading.bassline.smooth],
        },
        "voice": _voice_out(reading.voice),
        "warnings": list(reading.warnings),
        "corrected": reading.corrected,
    }


def _chord(chord: ChordSpan) -> Json:
    raw = asdict(chord)
    evidence = {"tones": list(raw.pop("tones")), "nonchord": list(raw.pop("nonchord"))}
    return {**raw, "evidence": evidence}


def _change(change: Change) -> Json:
    raw = asdict(change)
    return {**raw, "before": list(raw["before"]), "after": list(raw["after"])}


def _voice_out(voice: VoiceProfile) -> Json:
    return {
        **asdict(voice),
        "high_notes": [asdict(h) for h in voice.high_notes],
        "leaps": [asdict(leap) for leap in voice.leaps],
        "climax": _climax(voice.climax),
    }


def _climax(climax: Climax | None) -> Json | None:
    return None if climax is None else {**asdict(climax), "why": list(climax.why)}


def from_json(raw: Json) -> Reading:
    """Rebuild a reading from `to_json`, equal to the first.

    Raises:
        ValueError: the document is not of this schema.
    """
    try:
        return shaped(_reading(raw))
    except (KeyError, TypeError, AttributeError, IndexError) as error:
        raise ValueError(f"not a reading: {error}") from error


def _reading(raw: Json) -> Reading:
    melody, bass = raw["melody"], raw["bassline"]
    return Reading(
        song=_song(raw["song"]),
        order=tuple(OrderSpan(o["start"], o["end"], o["pass"]) for o in raw["order"]),
        keys=tuple(KeySpan(**k) for k in raw["keys"]),
        chords=tuple(_chord_back(c) for c in raw["chords"]),
        borrowed=tuple(BorrowedTone(**{**b, "modes": tuple(b["modes"])}) for b in raw["borrowed"]),
        phrases=tuple(PhraseSpan(**{**p, "bars": tuple(p["bars"])}) for p in melody["phrases"]),
        ends=tuple(PhraseEnd(**e) for e in melody["ends"]),
        form=_form(raw["form"]),
        returns=tuple(
            Return(
                tuple(r["of"]),
                tuple(r["again"]),
                r["transposed"],
                tuple(_change_back(c) for c in r["changes"]),
                r.get("shift"),
            )
            for r in raw["returns"]
        ),
        rubs=tuple(Rub(**{**r, "resolves": Resolution(**r["resolves"])}) for r in raw["rubs"]),
        bassline=Bassline(
            bass["root_position_share"],
            tuple(RootRun(**r) for r in bass["runs"]),
            tuple(SmoothBass(s["start"], s["end"], tuple(s["bass"])) for s in bass["smooth"]),
        ),
        voice=_voice(raw["voice"]),
        warnings=tuple(raw["warnings"]),
        corrected=raw["corrected"],
        schema=raw["schema"],
        hanging=tuple(RestOverUnresolved(**h) for h in melody["hanging"]),
        modes=tuple(ModeSpan(**{**m, "bars": tuple(m["bars"])}) for m in raw["modes"]),
    )


def _song(raw: Json) -> SongInfo:
    rest = {k: v for k, v in raw.items() if k not in ("source", "parts")}
    return SongInfo(**rest, **raw["source"], parts=tuple(PartInfo(**p) for p in raw["parts"]))


def _chord_back(raw: Json) -> ChordSpan:
    rest = {k: v for k, v in raw.items() if k != "evidence"}
    return ChordSpan(**rest, tones=tuple(raw["evidence"]["tones"]), nonchord=tuple(raw["evidence"]["nonchord"]))


def _change_back(raw: Json) -> Change:
    sides = {side: tuple(ChangedNote(**n) for n in raw[side]) for side in ("before", "after")}
    return Change(**{**raw, **sides})


def _form(raw: Json) -> Form:
    sections = tuple(Section(**{**s, "bars": tuple(s["bars"])}) for s in raw["sections"])
    return Form(raw["name"], sections, raw["extension"], raw["confidence"])


def _voice(raw: Json) -> VoiceProfile:
    climax = raw["climax"]
    return VoiceProfile(
        **{
            **raw,
            "tessitura": Tessitura(**raw["tessitura"]),
            "dose": Dose(**raw["dose"]),
            "climax": None if climax is None else Climax(**{**climax, "why": tuple(climax["why"])}),
            "high_notes": tuple(HighNote(**h) for h in raw["high_notes"]),
            "leaps": tuple(Leap(**leap) for leap in raw["leaps"]),
        }
    )

"""The song screen's help and keys."""

from __future__ import annotations

from textual.binding import Binding, BindingType

HELP = (
    "At the top the whole song: its sections, how high the voice goes in each bar (lit where it leaves the "
    "region in which it mostly lies), and what was found: ◆ a borrowed tone (a note foreign to the key, lent by "
    "another mode or chord), ◇ one in passing, × a rub (a sung note that clashes with the chord below), ▲ the "
    "climax, ═ a passage that returns, ≠ where the return is changed, ≈ where a note is only split or joined to "
    "fit the words.\n\n"
    "Below, the bars around the cursor with their chords: figures say the degree and which note is lowest "
    "(6: the third is in the bass), then the chord symbol. A question mark means that the engine is not sure.\n\n"
    "Move by bar with ← →, by phrase with ↑ ↓, by section with [ ], from finding to finding with n. Enter shows "
    "the staff. = lets you hear a return after its first statement.\n\n"
    "p asks ten questions of the whole song, x five of what stands under the cursor: borrowed tones, rubs, changes, "
    "the climax, or else the chords.\n\n"
    "Space plays from the cursor to the end of the song and pauses; the cursor goes along. Move it while the music "
    "plays, and the music follows you. Slower, faster, the metronome, voice or piano alone: all of it is heard at "
    "once and changes nothing on the page. W writes the phrase, the section or the song into a file, as it sounds now."
)
KEYS: list[BindingType] = [
    Binding("space", "play", "play", key_display="Space", tooltip="play from here to the end of the song; pause"),
    Binding("enter", "staff", "staff", key_display="Enter", tooltip="show or hide the staff"),
    Binding("n", "finding(1)", "finding", tooltip="go to the next finding"),
    Binding("p", "practise", "practise", tooltip="ten questions from this song"),
    Binding("x", "drill", "this place", tooltip="five questions on what stands under the cursor"),
    Binding("w", "warm", "warm up", tooltip="a warm-up to this song's high note"),
    Binding("left,h", "bar(-1)", "bar", key_display="← →", tooltip="a bar back or on"),
    Binding("right", "bar(1)", "", show=False),
    Binding("up", "phrase(-1)", "phrase", key_display="↑ ↓", tooltip="a phrase back or on"),
    Binding("down", "phrase(1)", "", show=False),
    Binding("left_square_bracket", "section(-1)", "section", key_display="[ ]", tooltip="a section back or on"),
    Binding("right_square_bracket", "section(1)", "", show=False),
    Binding("N", "finding(-1)", "", show=False),
    Binding("minus", "tempo(-1)", "tempo", key_display="- +", tooltip="slower or faster by a tenth, 40 to 160 %"),
    Binding("plus", "tempo(1)", "", show=False),
    Binding("l", "loop", "loop", tooltip="play this phrase over and over; again: stop"),
    Binding("L", "loop_section", "loop section", tooltip="play this section over and over; again: stop"),
    Binding("v", "voice", "voice alone", tooltip="the voice alone, the piano alone, both"),
    Binding("m", "metronome", "metronome", tooltip="clicks on every beat, on or off"),
    Binding("i", "count_in", "count-in", tooltip="clicks before the music: one bar, two bars, none"),
    Binding("equals_sign", "compare", "compare", key_display="=",
            tooltip="hear the first statement, then this return"),
    Binding("b", "bass", "smooth bass", tooltip="hear the passage over a smoother bass"),
    Binding("t", "transpose(-1)", "lower", tooltip="hear it a semitone lower"),
    Binding("T", "transpose(1)", "higher", tooltip="hear it a semitone higher"),
    Binding("r", "repeats", "repeats", tooltip="take the repeats, or play straight through the page"),
    Binding("W", "write", "write", tooltip="write phrase, section or song as sound or MIDI"),
    Binding("c", "correct", "correct", tooltip="say which chord, key or section it really is"),
    Binding("u", "undo", "undo", tooltip="take the last correction back"),
    Binding("d", "describe", "in words", tooltip="the staff in words"),
    Binding("pagedown", "words(1)", "more words", key_display="PgUp PgDn",
            tooltip="the rest of the words on this bar"),
    Binding("pageup", "words(-1)", "", show=False),
    Binding("home", "bar(-9999)", "", show=False),
    Binding("end", "bar(9999)", "", show=False),
]  # fmt: skip

WHILE_PLAYING = frozenset(
    {"play", "tempo(-1)", "loop", "voice", "metronome", "count_in", "transpose(-1)", "transpose(1)", "back", "help"}
)
"""Actions named at the foot while music plays; the others work too."""

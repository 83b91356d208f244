"""How large a score may be. Beyond these a file is refused with one line, whatever it claims to be.

The figures are choices of ours: of 101 songs tried none has more than 154 bars, 4 staves and 3,200 notes; the longest
quartet movements have about 6,000 notes.
"""

from __future__ import annotations

MAX_FILE_BYTES = 30_000_000
MAX_UNPACKED_BYTES = 60_000_000
MAX_TEXT_BYTES = 2_000_000
"""ABC and kern: they are typed by hand."""
MAX_MEMBERS = 200
"""Files in a packed score."""
MAX_RATIO = 250
"""Unpacked to packed size; MusicXML packs about 10 to 40 times."""
MAX_PARTS = 64
MAX_BARS = 800
"""The engine compares every bar with every other: this many take 0.4 GB and some seconds."""
MAX_NOTES = 100_000
MAX_DEPTH = 40
"""Elements inside elements; MusicXML needs about 10."""
MAX_DIVISIONS = 1_000_000
"""Parts of a quarter note; programs use up to 10,080."""
MAX_BAR_QUARTERS = 400
"""Longest bar, in quarters; unmeasured cadenzas run to some hundred."""
MAX_LENGTH_QUARTERS = 6_000
"""Longest score, in quarters: 50 minutes at 120 a minute. Rests far longer cost music21 seconds a track."""

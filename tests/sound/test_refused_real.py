"""A loudspeaker that is taken, and a sound server that refuses: told in one line, and taken up again."""

from __future__ import annotations

import pytest

from tests.sound.audio_loop import AudioLoop
from tests.sound.test_devices_real import wait
from tutor.errors import PortUnavailable
from tutor.music.phrase import Phrase
from tutor.sound.device import Way
from tutor.sound.devices import open_ear, open_player
from tutor.studio import BUILT_IN, Studio

pytestmark = pytest.mark.device


@pytest.mark.parametrize("way", ["portaudio", "miniaudio"])
def test_a_server_that_refuses_is_one_line_and_serves_again(card: AudioLoop, way: Way) -> None:
    with card.refusing():
        for opener, word in ((open_player, "sound output"), (open_ear, "microphone")):
            with pytest.raises(PortUnavailable) as caught:
                opener(through=way)
            assert word in caught.value.line
            assert "a sound server runs" in caught.value.line
            assert "\n" not in caught.value.line
    open_player(through=way).close()
    open_ear(through=way).close()


def test_a_session_goes_on_while_the_server_refuses_and_sounds_once_it_serves(card: AudioLoop) -> None:
    made = Studio.open(in_memory=True, seed=1)
    made.store.keep_setting("soundfont", BUILT_IN)
    phrase = Phrase.parse("C4:1 E4:1", bpm=120, line="upper")
    with card.refusing():
        made.open_devices()
        assert "sound output" in made.trouble
        assert "\n" not in made.trouble
        made.play(phrase)
        assert made.trouble
    made.outlets.looked_s = 0.0
    playing = made.play(phrase)
    assert made.trouble == ""
    assert wait(lambda: playing.position_s > 0.1)
    made.close()

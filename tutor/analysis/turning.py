"""The first layer of networks that read views from twelve candidates, without laying out what each of them sees.

`features.turn` lays the views out twelve times; here that is done with the spelled blocks alone. The blocks by chroma
only move around their circle from candidate to candidate, so that their product with the weights is a circular
correlation: taken apart into waves around the circle, it is a product for each frequency by itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from tutor.analysis.features import REACH, Held, Views
from tutor.analysis.slices import LOF, LOF_ZERO, Floats, Ints

_WIDTH = 2 * REACH + 1
_FREQUENCIES = 7
_ANGLES = np.arange(_FREQUENCIES)[:, None] * np.arange(12) * (np.pi / 6)
_WAVES: Floats = np.concatenate([np.cos(_ANGLES), np.sin(_ANGLES)]).astype(np.float32)
"""Cosines and sines around the twelve chromas, shape (2 * _FREQUENCIES, 12)."""
_SHARES = np.array([1, 2, 2, 2, 2, 2, 1]) / 12
"""What each frequency counts when the waves are added up again."""


@dataclass(frozen=True, slots=True, eq=False)
class FirstLayer:
    """The weights, for h outputs of one network or several side by side."""

    spelled: Floats
    """Shape (_WIDTH * blocks, h)."""
    waves: Floats
    """From both kinds of wave of each tone's circle to both kinds: shape (2, _FREQUENCIES, 2 * tones, h)."""
    plain: Floats
    """Shape (k, h)."""
    bias: Floats
    """Shape (h,)."""

    @classmethod
    def of(cls, weights: Floats, bias: Floats, blocks: int, tones: int) -> FirstLayer:
        """Arrange the weights of a layer.

        Args:
            weights: For the features in the order of `features.turn`, shape (features, h).
            bias: Shape (h,).
            blocks: How many blocks of the views are on the line of fifths.
            tones: How many are by chroma.
        """
        spelled, circles, plain = np.split(weights, np.cumsum([blocks * _WIDTH, tones * 12]))
        cos, sin = np.einsum("wj,tjh->wth", _WAVES, circles.reshape(tones, 12, -1)).reshape(2, _FREQUENCIES, tones, -1)
        waves = np.stack([np.concatenate([cos, sin], axis=1), np.concatenate([-sin, cos], axis=1)])
        spelled = spelled.reshape(blocks, _WIDTH, -1).swapaxes(0, 1).reshape(spelled.shape)
        return cls(spelled, (waves * _SHARES[:, None, None]).astype(np.float32), plain, bias)

    def __call__(self, views: Views, spelling: Ints) -> Floats:
        """What the layer gives for each candidate.

        Args:
            views: Views of n frames.
            spelling: Place on the line of fifths of each candidate, shape (n, 12).

        Returns:
            Shape (12, n, h), before any rectifier.
        """
        n, tones, _ = views.chroma.shape
        cos, sin = (_WAVES @ views.chroma.reshape(n * tones, 12).T).reshape(2, _FREQUENCIES, n, tones)
        heard = np.concatenate([cos, sin], axis=2) @ self.waves
        heard[0, 0] += views.plain @ self.plain + self.bias  # the wave of frequency 0 is the same for all candidates
        out: Floats = (_WAVES.T @ heard.reshape(len(_WAVES), -1)).reshape(12, n, -1)
        out += (_spelled(views, spelling) @ self.spelled).reshape(out.shape)
        return out

    def held(self, seen: Held) -> Floats:
        """The same of n frames in stretches, each of which is looked at once."""
        out = self(seen.views, seen.spelling).take(seen.of, axis=1)
        out += (seen.plain - seen.views.plain[seen.of]) @ self.plain
        return out


def _spelled(views: Views, spelling: Ints) -> Floats:
    """The spelled blocks from ``-REACH`` to ``REACH`` fifths around each candidate, shape (12 * n, _WIDTH * blocks)."""
    n, blocks = views.spelled.shape[:2]
    wide = np.zeros((n, LOF + 2 * REACH, blocks), dtype=np.float32)  # place by place, so that a window is one stretch
    wide[:, REACH : REACH + LOF] = views.spelled.swapaxes(1, 2)
    at = np.clip(spelling, -LOF_ZERO, LOF_ZERO).T + LOF_ZERO
    windows = sliding_window_view(wide.reshape(n, -1), _WIDTH * blocks, axis=1)[:, ::blocks]
    return windows[np.arange(n), at].reshape(12 * n, -1)

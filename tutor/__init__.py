"""Larkstair: reads a song for voice and piano and turns it into practice."""

import os

__version__ = "0.1.0"

# The engine's matrices are small: a second thread of numpy's waits busily for its share of them and saves no time.
# The library looks here once, when numpy is first imported; who sets it otherwise is obeyed.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

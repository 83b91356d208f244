"""Print how far the engine agrees with what was meant: ``python -m tests.lessons.measure [song …]``.

Without a song one line for each, in the form of the table in test_truth.py; with songs every difference by bar too.
"""

from __future__ import annotations

import sys

from tests.lessons.test_truth import FIELDS, NAMES, verdict


def main(wanted: list[str]) -> None:
    """Measure the songs named, or all of them."""
    for name in wanted or NAMES:
        found = {field: verdict(name, field) for field in FIELDS}
        figures = ", ".join(f"{v.right:.3f}" for v in found.values())
        sys.stdout.write(f'    "{name}": ({figures}),\n')
        if wanted:
            for field, v in found.items():
                sys.stdout.writelines(f"        {field}: {line}\n" for line in v.wrong)


if __name__ == "__main__":
    main(sys.argv[1:])

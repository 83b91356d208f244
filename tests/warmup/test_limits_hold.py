"""No plan leaves the singer's limits. The same over thousands of cases: ``python -m tests.bench.warmups``."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from tests.warmup.judge import LAYERS, Layer, cases, run

FEW = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@pytest.mark.parametrize("layer", LAYERS)
@FEW
@given(data=st.data())
def test_every_plan_keeps_every_limit(layer: Layer, data: st.DataObject) -> None:
    event(run(data.draw(cases(layer))))

"""The ear in a session that lasts: it hears a starter late as well as early."""

from __future__ import annotations

import numpy as np
import pytest

from assistant.core.dialogue.policy import HEARD_FROM
from assistant.hearing.starter.ear import StarterEar
from assistant.hearing.starter.features import BANDS, FRAME_S
from assistant.hearing.starter.fresh import HEARD_S, FreshNetwork
from assistant.hearing.starter.values import CrankPhase
from assistant.hearing_bench.starter.ranges import DEVELOPING
from assistant.hearing_bench.starter.scenes import WantedScene, made_scene


def test_starters_are_heard_late_in_a_session_as_in_its_first_seconds() -> None:
    """Of cranks 20 dB over the bay's noise, up to two minutes into a session, at least four in five are believed."""
    wish = WantedScene(120.0, 5, 20.0, ("bay",), talking=False, crank_s=(2.0, 4.0))
    believed = []
    for seed in (1, 3, 5):
        scene = made_scene(wish, DEVELOPING, np.random.default_rng(seed), None)
        heard = [one for one in StarterEar(4).feed(scene.samples) if isinstance(one, CrankPhase)]
        begins = [one.at_s for one in heard if one.phase == "begins" and one.confidence >= HEARD_FROM]
        late = [start.at_s for start in scene.starts[1:]]
        assert late[-1] > 80
        believed += [any(abs(at - one) < 1.5 for at in begins) for one in late]
    assert np.mean(believed) >= 0.8


@pytest.mark.parametrize("still", [True, False])
def test_what_is_long_past_is_forgotten_only_while_nothing_turns(still: bool) -> None:
    """Two networks with different pasts say the same once both have begun anew; a crank is heard by one of them."""
    one, other = FreshNetwork(), FreshNetwork()
    draw = np.random.default_rng(2)
    one.hear(np.zeros(BANDS, np.float32), still=still)
    other.hear(np.full(BANDS, 9.0, np.float32), still=still)
    for _ in range(round(2.5 * HEARD_S / FRAME_S)):
        bands = draw.normal(0, 1, BANDS).astype(np.float32)
        one.hear(bands, still=still)
        other.hear(bands, still=still)
    bands = draw.normal(0, 1, BANDS).astype(np.float32)
    alike = np.allclose(one.hear(bands, still=still)[0], other.hear(bands, still=still)[0], atol=1e-5)
    assert alike is still

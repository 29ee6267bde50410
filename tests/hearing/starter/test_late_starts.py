"""The ear in a session that lasts: it hears a starter late as well as early."""

from __future__ import annotations

import numpy as np

from assistant.core.dialogue.policy import HEARD_FROM
from assistant.hearing.starter.ear import StarterEar
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

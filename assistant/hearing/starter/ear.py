"""The ear that is fed with the microphone's samples and says what it heard of the starter."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from assistant.hearing.sound import Samples
    from assistant.hearing.starter.values import Perceived


class StarterEar:
    """Hears the starter beside the hearing of speech; it takes nothing from speech and never blocks.

    An empty answer says nothing: cranking that was not heard may still be going on. Nobody may conclude from it that
    the starter does not turn.

    Args:
        cylinders: Of the engine (a four-stroke: half as many compressions for each turn of the crank); None if
            nobody said, and then compressions a second are all that can be told of the speed.

    Attributes:
        cylinders: May be set at any time; it counts for cranks that end afterwards.
    """

    def __init__(self, cylinders: int | None = None) -> None:
        self.cylinders = cylinders

    def feed(self, samples: Samples) -> list[Perceived]:
        """Hear the next samples, 16 bits, 16,000 a second, any number of them.

        The answers do not depend on how the sound is cut into pieces. It never raises on account of the samples.

        Returns:
            What was perceived by now, in the order of being perceived; mostly nothing.
        """
        raise NotImplementedError

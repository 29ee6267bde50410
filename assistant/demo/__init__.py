"""The demonstration: a whole session fed from recorded sounds, through the real ear, voice, dialogue and record.

Only the two ends are replaced: the microphone by the files of a scenario, the loudspeaker by a sound track.
Time is a clock that jumps to whatever comes next, so a session of minutes takes seconds; everything that the
assistant says and everything that is played to it stands on one time line in one sound file.
"""

from assistant.demo.running import run
from assistant.demo.scenario import SCENARIO, read_scenario

__all__ = ["SCENARIO", "read_scenario", "run"]

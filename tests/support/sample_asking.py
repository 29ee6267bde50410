"""The shipped procedures and two small ones that ask for facts of every kind, for tests of the dialogue."""

from __future__ import annotations

from dataclasses import replace

from assistant.core.library.library import Library
from assistant.core.library.procedure_file import parse_procedure
from assistant.loading.folder import load_library
from assistant.resources import directory

INTAKE = """\
procedure: intake
title: Intake and lamp
circuit: none
about: For tests.
needs: [test lamp]
asks: [order, vin, odometer, cylinder, crank-by, lamp-kind, lamp-current]
start: feed
steps:
  feed:
    measure: {with: test-lamp, clip: battery-negative, probe: feed, engine: key-on}
    cautions: [live-circuit]
    if_skipped: {next: switched}
    answers:
      lit:  {next: switched}
      dark: {verdict: no-feed}
  switched:
    measure: {with: test-lamp, clip: battery-negative, probe: switched, engine: cranking}
    cautions: [secondary, cranking, switched-side]
    if_skipped: {verdict: sound}
    answers:
      blinking: {verdict: sound}
      dark:     {procedure: primary}
verdicts:
  sound:   {says: It switches., faults: [], part: "", repair: None., verify: []}
  no-feed: {says: No feed., faults: [], part: "", repair: Find it., verify: [], continue_with: primary}
"""

PRIMARY = """\
procedure: primary
title: Primary resistance
circuit: none
about: For tests.
needs: [ohmmeter]
asks: [coil-temperature]
start: primary
steps:
  primary:
    measure: {with: ohmmeter, clip: feed, probe: switched, engine: key-off, unplugged: [coil]}
    asks: [lead-resistance, primary-resistance-lowest, primary-resistance-highest]
    cautions: []
    if_skipped: {verdict: open-question}
    reading:
      unit: ohm
      plausible: [0, 20000000]
      subtract: lead-resistance
      at_20_celsius: coil-temperature
      unjudged: {verdict: open-question}
      bands:
        shorted: {below: {specification: primary-resistance-lowest}, source: s, seen: low, verdict: bad}
        normal:
          from: {specification: primary-resistance-lowest}
          below: {specification: primary-resistance-highest}
          source: s
          seen: within the maker's limits
          verdict: fine
        open:   {from: {specification: primary-resistance-highest}, source: s, seen: high, verdict: bad}
verdicts:
  fine: {says: The primary is sound., faults: [], part: "", repair: None., verify: []}
  bad:  {says: The primary is bad., faults: [], part: ignition coil, repair: Replace it., verify: []}
  open-question: {says: The primary was not judged., faults: [], part: "", repair: Find the limit., verify: []}
"""


def asking_library() -> Library:
    """The shipped procedures with `INTAKE` and `PRIMARY`."""
    shipped = load_library(directory("procedures"))
    own = {}
    for name, text in (("intake", INTAKE), ("primary", PRIMARY)):
        procedure, _ = parse_procedure(text.encode(), f"{name}.yaml", shipped.terms, shipped.cautions)
        own[name] = procedure
    return replace(shipped, procedures={**shipped.procedures, **own})
